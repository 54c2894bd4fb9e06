"""What the chapters' sentences share: each names the row of results.csv that it comes from."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.shared.design import INTERCEPT
from liftseries.models.shared.question import Analysis
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by, named_method, not_recorded
from liftseries.report.kit.numbers import WITHHELD, counted, exponent, interval, listed, missing, ratio
from liftseries.report.kit.words import Words, trace


def effect(row, words: Words, outcome: str) -> Paragraph | None:
    """What a term of a ratio model says, in one sentence."""
    if row is None:
        return None
    estimate, low, high = (exponent(row[name]) for name in ("estimate", "conf_low", "conf_high"))
    numbers = interval(estimate, low, high, ratio)
    text = f"{compared(row, words, outcome)} {numbers} times as high" + open_direction(low, high, 1.0) + "."
    return Paragraph(text[0].upper() + text[1:], source(row))


def effects(rows: pd.DataFrame, words: Words, outcome: str) -> Iterable[Block]:
    """A sentence a term of a ratio model, as far as there is an estimate."""
    for _, row in rows[~rows["term"].eq(INTERCEPT) & rows["estimate"].notna()].iterrows():
        sentence = effect(row, words, outcome)
        if sentence:
            yield sentence


def adjusted(rows: pd.DataFrame) -> str:
    """What the terms of a quoted model are adjusted for."""
    alone = rows["term"].str.partition("[")[0].nunique() == 1
    return "no other term is in the model" if alone else "each term is adjusted for the others in the model"


def compared(row, words: Words, outcome: str) -> str:
    """`with each further mm of residual bone height the odds of a perforation were`."""
    was = "were" if outcome.startswith("the odds") else "was"
    name, _, level = str(row["term"]).partition("[")
    column = small(words.column(name))
    if not level:
        return f"with each further {words.unit(name) or 'unit'} of {column} {outcome} {was}"
    told = words.term(row["term"], str(row["note"])).partition(": ")[2]
    return f"{column}, {told}: {outcome} {was}"


def open_direction(low: float, high: float, none: float) -> str:
    """That the interval includes no difference, where it does."""
    if missing(low) or missing(high):
        return ""
    return f"; the interval includes {none:g} and is compatible with either direction" if low < none < high else ""


def size_of(row) -> tuple[str, bool]:
    """A difference without its sign, with its interval, and whether it is above 0."""
    if row["estimate"] >= 0:
        return interval(row["estimate"], row["conf_low"], row["conf_high"]), True
    return interval(-row["estimate"], -row["conf_high"], -row["conf_low"]), False


def unanswered(rows: pd.DataFrame, analysis: Analysis) -> pd.DataFrame:
    """Rows of an analysis for whose term no method has an estimate, and why.

    Of all sites; of an analysis of parts of the series alone, where it has no estimate at all.
    """
    whole = rows["subset"].eq("all")
    if not whole.any() and rows["estimate"].notna().any():
        return rows.iloc[:0]
    rows = rows[whole] if whole.any() else rows
    has = rows["estimate"].notna().groupby([rows["subset"], rows["term"]]).transform("any")
    rows = rows[~has.astype(bool) & ~rows["problem"].fillna("").isin(["", WITHHELD]) & ~not_recorded(rows)]
    quotable = made_by(rows, analysis.headline[0]) if analysis.headline else pd.Series(True, index=rows.index)
    return rows[quotable] if quotable.any() else rows


def first(rows: pd.DataFrame):
    """The first row, or None."""
    return rows.iloc[0] if len(rows) else None


def last(rows: pd.DataFrame):
    """The last row, or None."""
    return rows.iloc[-1] if len(rows) else None


def first_term(rows: pd.DataFrame):
    """The first term of a model that has an estimate, or None."""
    return first(rows[~rows["term"].eq(INTERCEPT) & rows["estimate"].notna()])


def source(row, method: str = "") -> str:
    """The row of results.csv that a sentence comes from."""
    return trace(row["analysis"], row["subset"], row["term"], method or named_method(row))


def small(text: str) -> str:
    """With a small first letter, as within a sentence."""
    return text[0].lower() + text[1:] if text else text


def terms_named(material: Material, key: str) -> str:
    """The terms that the plan gives a model, in words."""
    return listed([small(material.words.column(term)) for term in material.asked[key]]) or "none"


def left_out(material: Material, *analyses: str) -> str:
    """How many sites these analyses left out, and why."""
    if material.withheld:
        return ""
    rows = material.left_out[material.left_out["analysis"].isin(analyses) & material.left_out["subset"].eq("all")]
    told = [
        f"{counted(row['n_sites'], 'site')} ({small(material.words.reason(str(row['reason'])))})"
        for _, row in rows.iterrows()
    ]
    return f" Left out: {listed(told)}." if told else " No site was left out."
