"""What the report, the first page and the supplement say alike of how deep was drilled."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import WITHHELD_COUNT, interval, missing
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.kit.sentences import source
from liftseries.report.kit.tables.cells import BOUNDS
from liftseries.report.kit.tables.described import roundly
from liftseries.report.languages.say import say

AGREEMENT = {"bias", "low", "high"}


def has_log(material: Material) -> bool:
    """Whether any site has a drilling log."""
    return bool(pd.to_numeric(material.rows("depth.deviations")["n_sites"]).fillna(0).ne(0).any())


def share_told(row, further: bool = False) -> str:
    """A quoted share with its interval, or the one limit that holds; `further` to others of the same sentence."""
    name = "depth.share_further" if further else "depth.share"
    if not missing(row["note"]) and names_in(row["note"]) & BOUNDS:
        name = "depth.share_at_least" if row["conf_low"] < row["estimate"] else "depth.share_at_most"
    limits = {"low": row["conf_low"], "high": row["conf_high"]}
    if name.endswith(("least", "most")):
        limits.pop("high" if name.endswith("least") else "low")
    return say(name, share=row["estimate"], **limits)


def n_of(row, further: bool = False) -> str:
    """`206 of 305 (67.5%, …)`."""
    return say("depth.n_of", n=row["n_events"], sites=row["n_sites"], share=share_told(row, further))


def ends(rows: pd.DataFrame) -> list[str]:
    """How the drilling ended, each with its share, in the order of the rows."""
    told = []
    for k, (_, row) in enumerate(rows.iterrows()):
        n = say("depth.n_at", n=row["n_events"], share=share_told(row, k > 0)) or roundly(row)
        told.append(say(f"depth.ended_{row['term']}", n=n or say("depth.n_withheld")))
    return told


def sources(rows: pd.DataFrame) -> str:
    """The rows of results.csv that a sentence comes from."""
    return "; ".join(source(row) for _, row in rows.iterrows())


def adherence_row(material: Material):
    """The quoted share of all sites that were drilled as planned, or None."""
    rows = quoted_in(material.rows("depth.adherence", "all"))
    return rows.iloc[0] if len(rows) else None


def n_left_out(material: Material, analysis: str, reason: str = "") -> int:
    """How many sites an analysis left out, for one reason where it is named; below 0 where that is withheld."""
    rows = material.left_out[material.left_out["analysis"].eq(analysis) & material.left_out["subset"].eq("all")]
    if material.withheld:
        return WITHHELD_COUNT
    rows = rows[rows["reason"].eq(reason)] if reason else rows
    counts = rows["n_sites"].dropna().astype(int)
    return int(counts.sum())


def limits_rows(material: Material, analysis: str) -> dict:
    """Term -> quoted row of an agreement; empty where one of the three is missing."""
    quoted = material.quoted(analysis)
    return {row["term"]: row for _, row in quoted.iterrows()} if set(quoted["term"]) >= AGREEMENT else {}


def agreement_told(name: str, rows: dict) -> str:
    """Bias with its interval, and the limits of agreement."""
    bias = rows["bias"]
    return say(
        name,
        sites=bias["n_sites"],
        bias=interval(bias["estimate"], bias["conf_low"], bias["conf_high"]),
        low=rows["low"]["estimate"],
        high=rows["high"]["estimate"],
    )


def agreement_sources(rows: dict) -> str:
    """The rows behind it."""
    return "; ".join(source(row) for row in rows.values())


def ranked(rows: pd.DataFrame, at_most: int = 3) -> Iterable[pd.Series]:
    """Shares above none, the largest first."""
    rows = rows[pd.to_numeric(rows["n_events"]).gt(0)]
    for _, row in rows.sort_values("estimate", ascending=False, kind="stable").head(at_most).iterrows():
        yield row
