"""`actions_next.csv`: a row a finding, for the committee to fill in what is to be done, by whom and by when."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from liftseries.report.audit.found import PERFORATION, below_standard, flagged_units, period, short_of_cases, signals
from liftseries.report.audit.indicators import known
from liftseries.report.audit.run_tables import RunTables
from liftseries.report.kit.numbers import decimal, percent
from liftseries.report.languages.say import say
from liftseries.study.indicators import Indicator

COLUMNS = ("id", "year", "indicator", "unit", "what", "owner", "due", "measure", "status")
Finding = tuple[str, str, str]  # indicator, unit, measure


def drafted_actions(results: pd.DataFrame, run: RunTables) -> pd.DataFrame:
    """The draft, with the columns of actions.csv; `what`, `owner` and `due` are the committee's."""
    years = period(run)
    year = years[-1] if years else ""
    taken = set(run.checked("actions")["id"].astype(str))
    numbers = (f"{year}-{k}" for k in range(1, 10_000) if f"{year}-{k}" not in taken)
    found = dict.fromkeys(_findings(results, run))
    rows = [
        (number, year, indicator, unit, "", "", "", measure, "open")
        for number, (indicator, unit, measure) in zip(numbers, found, strict=False)
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _findings(results: pd.DataFrame, run: RunTables) -> Iterator[Finding]:
    """Flags, signals, indicators below standard, cases that were not sent."""
    for one in flagged_units(results, run):
        counts = {"n_events": one.n_events, "n_sites": one.n_sites}
        yield PERFORATION, one.unit, say("audit_extra.action_flag", **counts)
    for unit in signals(run):
        yield PERFORATION, unit, say("audit_extra.action_signal")
    for strip in below_standard(run):
        of = indicator_of(str(strip["indicator"]), run.audit)
        holes = {"value": written(strip["value"], of), "standard": written(strip["standard"], of)}
        measure = say("audit_extra.action_indicator", title=of.title, **holes)
        yield of.name, str(strip["unit"]), measure
    for strip in short_of_cases(run):
        measure = say("audit_extra.action_received", value=percent(float(strip["value"])))
        yield "cases_received", str(strip["unit"]), measure


def indicator_of(term: str, audit: Mapping[str, Any]) -> Indicator:
    """The indicator of a term such as `survival at 12`; `audit` is that section of the plan."""
    return known(audit)[term.partition(" at ")[0]]


def written(value: float, indicator: Indicator) -> str:
    """A value of an indicator: a share as percent, a mean in mm."""
    return f"{decimal(value, 1)} mm" if indicator.counts == "measurements" else percent(float(value))
