"""Shares and measurements as recorded, as the cells of a table: counts, shares, intervals, quartiles."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.report.kit.method import remarked
from liftseries.report.kit.numbers import WITHHELD, count, decimal, interval, is_withheld, missing, percent, share_of
from liftseries.report.kit.tables.cells import rounded_by
from liftseries.report.kit.words import trace_of

HEADINGS = ("", "Sites", "Share (95% interval), or mean (95% interval) and median [quartiles]")
Cells = tuple[str, str, str]


def recorded(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows that rest on any site."""
    return rows[pd.to_numeric(rows["n_sites"]).fillna(0).ne(0)]


def heading(text: str) -> Cells:
    """A line above others."""
    return (text, "", "")


def share_cells(label: str, row) -> Cells:
    """`   drilling`, `14 of 46 (30.4%)`, `20.1% to 43.2%`."""
    return (f"   {label}", share_of(row["n_events"], row["n_sites"]), share_interval(row))


def roundly(row) -> str:
    """`6% (rounded, ± 1 point)`; empty where a share is not told roundly."""
    by = rounded_by(row)
    return f"{percent(row['estimate'])}{by}" if by else ""


def share_interval(row) -> str:
    """The interval of a share, `at most …` where it is a bound; the share where it is told roundly; else empty."""
    if row["problem"] == WITHHELD:
        return WITHHELD if missing(row["conf_high"]) else f"at most {percent(row['conf_high'])}"
    if missing(row["conf_low"]):
        return roundly(row)
    if remarked(row, "one_sided_bound"):
        return (
            f"at most {percent(row['conf_high'])}" if row["estimate"] == 0 else f"at least {percent(row['conf_low'])}"
        )
    return f"{percent(row['conf_low'])} to {percent(row['conf_high'])}"


def measured_cells(label: str, rows: pd.DataFrame, before: str = "", digits: int = 1) -> Cells | None:
    """A measurement; None where nothing was measured.

    Parameters
    ----------
    label : what was measured, with its unit
    rows : of one analysis
    before : what stands before each statistic in the term
    digits : decimals of median and quartiles
    """
    of_term = {row["term"]: row for _, row in recorded(rows).iterrows()}
    if f"{before}n" not in of_term:
        return None
    n = of_term[f"{before}n"]
    told = [summary(of_term, before, digits)]
    mean = of_term.get(f"{before}mean")
    if mean is not None and mean["headline"] and not missing(mean["estimate"]):
        told.insert(0, interval(mean["estimate"], mean["conf_low"], mean["conf_high"]))
    largest = of_term.get(f"{before}max")
    if largest is not None and not missing(largest["estimate"]):
        told.append(f"largest {decimal(largest['estimate'], digits)}")
    measured = WITHHELD if is_withheld(n["n_sites"]) else f"{count(n['n_sites'])} measured"
    return (f"   {label}", measured, "; ".join(filter(None, told)))


def summary(of_term, before: str, digits: int) -> str:
    """`1.9 [1.4 to 2.6]`; empty where it may not or cannot be told."""
    median, q1, q3 = (of_term.get(f"{before}{name}") for name in ("median", "q1", "q3"))
    if median is None or not median["headline"] or missing(median["estimate"]):
        return ""
    text = decimal(median["estimate"], digits)
    if any(row is None or missing(row["estimate"]) for row in (q1, q3)):
        return text
    return f"{text} [{decimal(q1['estimate'], digits)} to {decimal(q3['estimate'], digits)}]"


def traces(*tables: pd.DataFrame) -> Iterable[str]:
    """The rows of results.csv that these are, for `Content.holds`."""
    return [trace_of(row) for table in tables for _, row in table.iterrows()]
