"""Enters into the ledger whom every count of a run's tables counts, as declared beside each analysis and table.

Nothing here knows an analysis or a table by name but results.csv and the sites left out, in which all analyses meet.
What is not declared has no entry, and the masking withholds it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from liftseries.base.named import function_named
from liftseries.disclosure.declared import Behind
from liftseries.models.questions import ANALYSES, FOLLOW_UP, tables_that_may_leave
from liftseries.models.shared.behind import Row
from liftseries.models.shared.question import Analysis
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.release.ledger import Ledger

RESULTS, LEFT_OUT = "results", "left_out"


def enter_tables(ledger: Ledger, tables: Mapping[str, pd.DataFrame]) -> None:
    """Enters every count of these tables that is declared; `tables` as `leaving` gives them."""
    enter_results(ledger, tables[RESULTS])
    for name, rules in tables_that_may_leave().items():
        behind = function_named(rules.behind) if rules.behind else None
        for position, row in enumerate(tables[name].itertuples(index=False) if behind else ()):
            _enter(ledger, (name, position), behind(ledger.population, row))
    _enter_left_out(ledger, tables[LEFT_OUT])


def enter_results(ledger: Ledger, results: pd.DataFrame) -> None:
    """Enters every row of results.csv whose analysis says who stands behind it."""
    beside = Beside(results)
    for position, printed in enumerate(results.itertuples(index=False)):
        row = row_of(printed)
        analysis = ANALYSES.get(row.analysis)
        if analysis is None or not analysis.behind:
            continue
        behind = function_named(analysis.behind)(ledger.population, row)
        _enter(ledger, (RESULTS, position), behind, beside.of(row))


def row_of(printed) -> Row:
    """The row of results.csv that tells whom a row counts: its own, or the one that its term names.

    A design effect or an E-value stands for the row that it is worked out from, `perforation.gee approach[guided]`.
    """
    analysis, term, method = printed.analysis, str(printed.term), str(printed.method)
    if analysis == DESIGN_EFFECT or (analysis in ANALYSES and ANALYSES[analysis].of_row):
        method = method if analysis == DESIGN_EFFECT else ""
        analysis, _, term = term.partition(" ")
    return Row(analysis, printed.subset, term, method)


@dataclass(frozen=True)
class Beside:
    """What the rows of results.csv are seen side by side with: an outcome by a column's levels, with its total."""

    results: pd.DataFrame

    @cached_property
    def _columns(self) -> dict[str, list[str]]:
        """Outcome -> the columns by whose levels it is told."""
        found: dict[str, list[str]] = {}
        for analysis, subset in self.results[["analysis", "subset"]].drop_duplicates().itertuples(index=False):
            column, is_level, _ = subset.partition("=")
            if is_level and column not in found.setdefault(outcome_of(analysis), []):
                found[outcome_of(analysis)].append(column)
        return found

    def of(self, row: Row) -> list[str]:
        """A row of `all` is the total of every table of its outcome."""
        outcome = outcome_of(row.analysis)
        if "=" in row.subset:
            return [f"{outcome} by {row.subset.partition('=')[0]}"]
        return [outcome, *(f"{outcome} by {column}" for column in self._columns.get(outcome, ()))]


def outcome_of(analysis: str) -> str:
    """What an analysis is about: those of one outcome count the same events."""
    return ANALYSES.get(analysis, Analysis(analysis, "")).about


def _enter_left_out(ledger: Ledger, table: pd.DataFrame) -> None:
    """A row says how many sites an analysis left out for a reason: its declaration names them by that reason."""
    analyses = ANALYSES | {FOLLOW_UP.name: FOLLOW_UP}
    for position, row in enumerate(table.itertuples(index=False)):
        analysis = analyses.get(row.analysis)
        if analysis is None or not analysis.left_out:
            continue
        named = function_named(analysis.left_out)(ledger.population, row.subset)
        if (counted := named.get(str(row.reason))) is not None:
            behind = Behind({"n_sites": counted}, seen_in=(analysis.about,))
            _enter(ledger, (LEFT_OUT, position), behind)


def _enter(ledger: Ledger, place: tuple[str, int], behind: Behind | None, beside: list[str] | None = None) -> None:
    if behind is None:
        return
    seen_in = beside or behind.seen_in
    for column, counted in behind.counts.items():
        ledger.cell(place, column, seen_in, counted.members, counted.unit, counted.recorded)
    for counted in behind.gives_away:
        ledger.gives_away(place, seen_in, counted.members, counted.unit, counted.recorded)
    for group in behind.rests_on:
        ledger.rests(place, group)
