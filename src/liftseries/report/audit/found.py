"""What an audit found of its units: flags with the replies to them, signals over time, indicators below standard."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from liftseries.report.audit.run_tables import RunTables
from liftseries.report.audit.units import FUNNEL, units_in
from liftseries.report.kit.numbers import missing
from liftseries.report.languages.say import say

FLAG, RATE, EXPECTED = "flag", "rate", "expected"
PERFORATION = "perforation"
WORSE = "worse"
ENOUGH_CAME, HAIR = 0.9, 1e-9


@dataclass(frozen=True)
class Flagged:
    """A unit beyond a limit of the funnel.

    Attributes
    ----------
    unit
    flag : -2, -1, 1 or 2
    stands : as of `Unit`
    n_events, n_sites : its tears and sites
    expected : tears
    statement, replied_on : its reply for the audited year; empty without one
    """

    unit: str
    flag: int
    stands: bool
    n_events: int
    n_sites: int
    expected: float
    statement: str = ""
    replied_on: str = ""


def funnel_of(results: pd.DataFrame, run: RunTables) -> pd.DataFrame:
    """The funnel's rows of units, their names in a column `unit`."""
    before = f"{run.audit['by']}="
    rows = results[results["analysis"].eq(FUNNEL) & results["subset"].str.startswith(before)]
    return rows.assign(unit=rows["subset"].str.removeprefix(before))


def flagged_units(results: pd.DataFrame, run: RunTables) -> list[Flagged]:
    """The units that the clustered funnel flags, the strongest flag first."""
    found = []
    for unit in units_in(funnel_of(results, run)):
        if unit.flag():
            counts = (unit.n_events, unit.n_sites, unit.value(EXPECTED) * unit.n_sites)
            found.append(Flagged(unit.name, unit.flag(), unit.stands, *counts, **_reply(run, unit.name)))
    return sorted(found, key=lambda one: (-abs(one.flag), one.unit))


def signals(run: RunTables) -> list[str]:
    """Units whose CUSUM signalled upward at a case of the period."""
    charts, years = run.left("audit_cusum_charts"), period(run)
    up = charts[charts["signal"].fillna("").str.contains("up")]
    year = run.cases.set_index(run.cases["site_id"].astype(str)).get("surgery_year")
    if year is None:
        return []
    return list(dict.fromkeys(row["unit"] for _, row in up.iterrows() if year.get(str(row["site_id"])) in years))


def below_standard(run: RunTables) -> Iterator[pd.Series]:
    """Strips of indicators whose whole interval lies on the worse side of their standard."""
    strips = run.left("audit_indicator_strips")
    worse = strips["verdict"].eq(WORSE) & strips["enough"].astype(str).str.lower().eq("true")
    yield from (strip for _, strip in strips[worse].iterrows())


def short_of_cases(run: RunTables) -> Iterator[pd.Series]:
    """Strips of units of which fewer cases came than nine in ten of those expected, and two or more too few."""
    strips = run.left("audit_indicator_strips")
    strips = strips[strips["indicator"].eq("cases_received") & strips["unit"].ne("all") & strips["value"].notna()]
    for _, strip in strips.iterrows():
        came, share = float(strip["counted"]), float(strip["value"])
        if share < ENOUGH_CAME and (not came or came / share - came > 2 - HAIR):
            yield strip


def period(run: RunTables) -> list[int]:
    """The surgery years that are audited; those that occur where the plan names none."""
    if named := run.audit["period"]:
        return sorted(named)
    if "surgery_year" not in run.cases:
        return []
    return sorted(run.cases["surgery_year"].dropna().astype(int).unique().tolist())


def years_in_words(run: RunTables) -> str:
    """`in 2024`, `2023 to 2024`."""
    years = period(run)
    if not years:
        return say("audit_extra.every_year")
    if len(years) == 1:
        return say("audit_extra.in_year", year=years[0])
    return say("audit_extra.in_years", first=years[0], last=years[-1])


def _reply(run: RunTables, unit: str) -> dict[str, str]:
    """The last reply of a unit on its tears in a year of the period, and when it came; none without a reply."""
    replies = run.checked("responses")
    mine = replies[replies["unit"].astype(str).eq(unit) & replies["indicator"].astype(str).eq(PERFORATION)]
    mine = mine[mine["year"].isin(period(run))].sort_values(["year", "replied_on"])
    if not len(mine) or missing(mine["statement"].iloc[-1]):
        return {}
    when = mine["replied_on"].iloc[-1]
    return {"statement": str(mine["statement"].iloc[-1]), "replied_on": "" if missing(when) else str(when)[:10]}
