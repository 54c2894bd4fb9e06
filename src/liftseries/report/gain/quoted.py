"""Which rows of results.csv the chapter on bone quotes, and what it calls them."""

from __future__ import annotations

import pandas as pd

from liftseries.models.shared.design import INTERCEPT
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import interval, missing
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.kit.words import Words

GAIN, MARGINAL = "gain.mixed", "bone.marginal"
TORQUE, ISQ = "stability.torque", "stability.isq"
OUTCOMES = {GAIN: "Bone gain", MARGINAL: "Marginal bone level"}
CHANGE = "change per year"
MEAN, BEYOND = "mean at ", "beyond "


def quoted_row(material: Material, analysis: str, term: str, subset: str = "all"):
    """The headline row of a question, or None where there is none to quote."""
    rows = quoted_in(material.rows(analysis, subset))
    rows = rows[rows["term"].eq(term)]
    return rows.iloc[0] if len(rows) else None


def change_of(material: Material, analysis: str):
    """The headline change per year, or None where there is none with an interval."""
    row = quoted_row(material, analysis, CHANGE)
    return None if row is None or missing(row["conf_low"]) or missing(row["conf_high"]) else row


def quoted_at_months(material: Material, analysis: str, what: str) -> list[pd.Series]:
    """The headline means, or shares, at months, in order; `what` is MEAN or BEYOND."""
    rows = quoted_in(material.rows(analysis, "all"))
    rows = [row for _, row in rows[rows["term"].astype(str).str.startswith(what)].iterrows()]
    return sorted(rows, key=lambda row: month_of(row["term"]))


def quoted_of_levels(material: Material, analysis: str, column: str) -> list[tuple[str, pd.Series]]:
    """Level of a column -> the headline mean of its sites."""
    rows = quoted_in(material.results[material.results["analysis"].eq(analysis)])
    rows = rows[rows["term"].eq("mean") & rows["subset"].str.startswith(f"{column}=")]
    return [(row["subset"].partition("=")[2], row) for _, row in rows.iterrows()]


def is_difference(term: pd.Series) -> pd.Series:
    """Whether each term compares: neither the intercept, nor a mean or share at a month; `months` is told a year."""
    return ~term.isin([INTERCEPT, "months"]) & ~term.str.contains(" at ", regex=False)


def month_of(term: str) -> float:
    """12 of `mean at 12`."""
    return float(term.rpartition(" at ")[2])


def named(row, words: Words) -> str:
    """A term in words."""
    return "Change per year" if row["term"] == CHANGE else words.term(str(row["term"]), str(row["note"]))


def mm(row) -> str:
    """`3.50 mm (3.31 to 3.69)`."""
    return with_unit(interval(row["estimate"], row["conf_low"], row["conf_high"]), "mm")


def direction(row) -> tuple[str, str]:
    """Of a change: `rises`, `falls` or, where the interval includes none, `either`; and how large it is, in mm."""
    low, high = row["conf_low"], row["conf_high"]
    if not (low > 0 or high < 0):
        return "either", mm(row)
    if low > 0:
        return "rises", mm(row)
    return "falls", with_unit(interval(-row["estimate"], -high, -low), "mm")


def with_unit(numbers: str, unit: str) -> str:
    """`3.50 mm (3.31 to 3.69)` for `3.50 (3.31 to 3.69)`."""
    return numbers.replace(" (", f" {unit} (", 1) if "(" in numbers else f"{numbers} {unit}"
