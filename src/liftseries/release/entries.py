"""Who stands behind every row of a run's tables, as declared, and which of their counts go into the ledger: the core's.

Nothing here knows an analysis or a table by name but results.csv, in which all analyses meet.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import pandas as pd

from liftseries.base.named import function_named
from liftseries.disclosure.declared import Behind
from liftseries.models.questions import ANALYSES, tables_that_may_leave
from liftseries.models.shared.behind import Row
from liftseries.models.shared.population import Population
from liftseries.models.shared.question import Analysis
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.release.groups import WHOLE, Untold
from liftseries.release.ledger import Ledger

RESULTS = "results"
ANSWERED = {  # what the first page answers with where little else can be told
    ("perforation.rate", "patients"),
    ("survival.km", "corrected"),
    ("depth.adherence", "patients"),
}
Behinds = Mapping[str, Sequence[Behind | None]]


def behind_rows(tables: Mapping[str, pd.DataFrame], population: Population) -> dict[str, list[Behind | None]]:
    """Table -> who stands behind each of its rows; None where nobody is known to."""
    return {name: _behind_rows(name, tables[name], population) for name in tables_that_may_leave()}


def n_of_share(behind: Behind | None, population: Population) -> float:
    """How many sites, or patients, a share is of that is an exact function of counts; NaN of what is none."""
    if behind is None or not behind.gives_away:
        return float("nan")
    group = behind.rests_on[0] if behind.group is None else behind.group
    events = behind.counts.get("n_events")
    return float(population.n_patients(group) if events and events.unit == "patients" else group.sum())


def _behind_rows(name: str, table: pd.DataFrame, population: Population) -> list[Behind | None]:
    if name == RESULTS:
        return [
            _behind_estimate(printed.analysis, row_of(printed), population) for printed in table.itertuples(index=False)
        ]
    declared = tables_that_may_leave()[name].behind
    if not declared:
        return [None] * len(table)
    behind = function_named(declared)
    return [behind(population, row) for row in table.itertuples(index=False)]


def _behind_estimate(printed: str, row: Row, population: Population) -> Behind | None:
    analysis = ANALYSES.get(row.analysis)
    if analysis is None or not analysis.behind:
        return None
    key = ("behind", *vars(row).values())
    behind = population.once(key, lambda: function_named(analysis.behind)(population, row))
    if behind is None or printed == row.analysis:
        return behind
    # What is worked out from a row, its interval too, tells what both do.
    away, is_effect = (*behind.gives_away, *behind.by_interval), printed == DESIGN_EFFECT
    # An intercept stays, as it rests on nobody; how alike sites are in it tells no more than in another term.
    rests_on = behind.rests_on[:1] if is_effect and row.term.startswith("(") else behind.rests_on
    return replace(
        behind, gives_away=away, by_interval=(), by_month=None, share=False, effect=is_effect, rests_on=rests_on
    )


def enter_tables(
    ledger: Ledger, tables: Mapping[str, pd.DataFrame], behind: Behinds, untold: Iterable[Untold] = ()
) -> None:
    """Enters every count of the core, and those of the groups that are not told apart."""
    beside = Beside(tables[RESULTS])
    rules = tables_that_may_leave()
    for name, rows in behind.items():
        for position, (printed, one) in enumerate(zip(tables[name].itertuples(index=False), rows, strict=True)):
            if one is not None and (is_core(printed) if name == RESULTS else rules[name].core):
                seen_in = beside.of(row_of(printed)) if name == RESULTS else one.seen_in
                ledger.enter((name, position), one, seen_in)
                if name == RESULTS and (printed.analysis, printed.method) in ANSWERED and printed.subset == WHOLE:
                    ledger.headline |= {ledger.cells[name, position, column] for column in one.counts}
                    ledger.quoted |= {ledger.name_of(counted) for counted in (*one.gives_away, *one.by_interval)}
    for group in untold:
        if group.table == RESULTS and not is_core(group.row):
            continue
        seen_in = beside.of(row_of(group.row)) if group.table == RESULTS else group.behind.seen_in
        for counted in group.behind.counts.values():
            ledger.leaves_unprinted(counted, seen_in)


def is_core(printed) -> bool:
    """Whether a row of results.csv leaves with its counts."""
    analysis = ANALYSES.get(printed.analysis)
    return analysis is not None and printed.method in analysis.core


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
