"""How long implants stay, in sentences; and the rows that they, the tables and the figures quote."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.models.shared.gates import RATIO, fewest_at_risk
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by
from liftseries.report.kit.numbers import WITHHELD, interval, is_withheld, missing, percent
from liftseries.report.kit.sentences import first, last, small, source
from liftseries.report.kit.tables.cells import rounded_by
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say

MODELS = ("survival.firth_cox", "survival.cox")
BOUND = "bound_without_failure"


def share_words(row) -> str:
    """A share in function, or failed, with its interval; its bound where nothing has failed; "" without a limit.

    One that is told roundly has no interval, and says by how much.
    """
    if missing(row["estimate"]) or missing(row["conf_low"]):
        by = "" if missing(row["estimate"]) else rounded_by(row)
        return f"{percent(row['estimate'])}{by}" if by else ""
    if is_bound(row):
        in_function = row["estimate"] == 1
        low, high = percent(row["conf_low"]), percent(row["conf_high"])
        return say("survival.at_least", low=low) if in_function else say("survival.at_most", high=high)
    return interval(row["estimate"], row["conf_low"], row["conf_high"], percent)


def is_bound(row) -> bool:
    """Whether a row is a bound of one side, as nothing has failed by then."""
    return BOUND in names_in(row["note"])


def at_months(rows: pd.DataFrame) -> list[str]:
    """`97.3% (95.3% to 98.4%) at 12 months`, a row each."""
    return [say("survival.at_month", share=share_words(row), month=row["term"]) for _, row in rows.iterrows()]


def quoted_survival(material: Material, subset: str = "all") -> pd.DataFrame:
    """The months at which survival is quoted."""
    rows = material.quoted("survival.km")
    return rows[rows["subset"].eq(subset)]


def may_be_set_side_by_side(material: Material) -> bool:
    """Whether there are failures enough to show survival of parts of the series beside each other."""
    return enough_failures(material.rows("survival.km", "all"))


def enough_failures(km: pd.DataFrame) -> bool:
    """Whether the rows of all implants have failures enough to compare anything."""
    return not km["n_events"].lt(RATIO).any()


def n_failures(material: Material):
    """How many implants failed, -1 where that is withheld; None where none was followed."""
    row = first(material.rows("survival.km", "all"))
    if row is not None and is_withheld(row["n_events"]):  # counted once more, where nothing else is told
        failures = material.rows("followup.failures", "all")
        row = first(failures[failures["term"].eq("all")]) if len(failures) else row
    return None if row is None or missing(row["n_events"]) else int(row["n_events"])


def n_at_risk(material: Material, month: str):
    """How many implants were at risk just before a month; None where nothing tells."""
    table = material.table("survival_at_risk")
    found = first(table[table["subset"].eq("all") & table["months"].eq(float(month))])
    return None if found is None else found["n_at_risk"]


def quoted_hazards(material: Material) -> pd.DataFrame:
    """The hazard ratios that are quoted."""
    return material.quoted(*MODELS)


def term_words(row, words: Words) -> str:
    """`residual bone height, per mm`; `smoking: current against never`."""
    return small(words.term(row["term"], str(row["note"])))


def survival_sentences(material: Material) -> Iterable[Block]:
    """Survival at the quoted months; at which months of the plan none is given; failures with death competing."""
    rows = quoted_survival(material)
    parts = []
    if len(rows):
        end = rows.iloc[-1]
        bounds = [is_bound(row) for _, row in rows.iterrows()]
        shared = {"shares": at_months(rows), "at_risk": n_at_risk(material, end["term"]), "month": end["term"]}
        parts.append(
            say("survival.bounds" if all(bounds) and not n_failures(material) else "survival.shares", **shared)
        )
        if any(bounds) and n_failures(material):
            parts.append(say("survival.bounds_among"))
        for _, row in rows.iterrows():
            if "narrow_by_clustering" in names_in(row["note"]):
                parts.append(say("survival.narrow", month=row["term"]))
        parts += _competing(material, end)
    parts += _not_stated(material, rows)
    if parts:
        yield Paragraph(" ".join(parts), "; ".join(source(row) for _, row in rows.iterrows()))


def _competing(material: Material, end: pd.Series) -> list[str]:
    """Failures by the last quoted month with death competing, where that differs."""
    rows = material.quoted("survival.competing")
    row = last(rows[rows["subset"].eq("all") & rows["term"].eq(end["term"])])
    if row is None or not end["n_events"] or percent(row["estimate"]) == percent(1 - end["estimate"]):
        return []
    return [say("survival.competing", share=share_words(row), month=row["term"])]


def _not_stated(material: Material, quoted: pd.DataFrame) -> list[str]:
    km = material.rows("survival.km", "all")
    km = km[made_by(km, "corrected") & ~km["term"].isin(quoted["term"])]
    if km["problem"].eq(WITHHELD).any():
        return [say("survival.withheld" if len(quoted) else "survival.withheld_all")]
    if km.empty or is_withheld(km["n_sites"].iloc[0]) or not int(km["n_sites"].iloc[0]):
        return []
    return [say("survival.not_stated", months=list(km["term"]), fewest=fewest_at_risk(0))]
