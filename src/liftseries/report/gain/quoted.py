"""Which rows of results.csv the chapter on bone quotes, and what it calls them."""

from __future__ import annotations

import pandas as pd

from liftseries.models.shared.design import INTERCEPT
from liftseries.report.kit.material import Material
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.kit.words import Words

GAIN, MARGINAL = "gain.mixed", "bone.marginal"
OUTCOMES = {GAIN: "Bone gain", MARGINAL: "Marginal bone level"}
CHANGE = "change per year"


def quoted_row(material: Material, analysis: str, term: str, subset: str = "all"):
    """The headline row of a question, or None where there is none to quote."""
    rows = quoted_in(material.rows(analysis, subset))
    rows = rows[rows["term"].eq(term)]
    return rows.iloc[0] if len(rows) else None


def is_difference(term: pd.Series) -> pd.Series:
    """Whether each term compares: neither the intercept, nor a mean or share at a month; `months` is told a year."""
    return ~term.isin([INTERCEPT, "months"]) & ~term.str.contains(" at ", regex=False)


def month_of(term: str) -> float:
    """12 of `mean at 12`."""
    return float(term.rpartition(" at ")[2])


def named(row, words: Words) -> str:
    """A term in words."""
    term = str(row["term"])
    if term == CHANGE:
        return "Change per year"
    what, at, month = term.rpartition(" at ")
    if at:
        return f"{'Mean' if what == 'mean' else what.replace('beyond', 'Share beyond') + ' mm'} at {month} months"
    return words.term(term, str(row["note"]))
