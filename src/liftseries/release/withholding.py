"""Which counts of a ledger are withheld, and what withholding each costs a reader."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from liftseries.disclosure.counts import Count
from liftseries.disclosure.suppression import Protection, protect
from liftseries.release.entries import RESULTS, Behinds
from liftseries.release.headline import headline_alone
from liftseries.release.ledger import Ledger
from liftseries.report.kit.material import Material

TOTAL_COSTS = 1000.0  # what withholding the size of the series costs, where another count costs as many estimates
AN_ANSWER_COSTS = 50.0  # a count that the first page answers with
AN_INTERVAL_COSTS = 0.5  # an estimate that leaves without its interval
ROUNDLY_COSTS = 0.25  # one that may still leave roundly
A_COUNT_COSTS, A_HEADLINE_COSTS = 0.3, 1.5  # as many estimates as the count itself, and one that the report quotes
MOST_FEW = 1 / 3  # of the different counts that are printed; our convention


def protection_of(
    ledger: Ledger, counts: Sequence[Count], smallest_cell: int, costs: Mapping[str, float]
) -> Protection:
    """What is withheld of a ledger's counts.

    Where most are of few patients, or one cannot be hidden otherwise, all but those of the headline questions.

    What would be left of such a series tells little, and looking for it is slow: nearly every count hangs on another.
    """
    few = [entry for entry in ledger.entries.values() if 1 <= entry.n_patients < smallest_cell]
    if len(few) <= MOST_FEW * len(ledger.entries):
        protection = protect(
            counts,
            ledger.patients,
            smallest_cell,
            weights=costs,
            told=ledger.told_before,
            left=ledger.left,
            barred=[count.name for count in counts if count.name.rpartition(" | ")[0] in ledger.barred],
        )
        if protection.intervals["protected"].all():
            return protection
    return headline_alone(ledger, counts, smallest_cell)


def costs_of(whole: Material, behind: Behinds, ledger: Ledger, counts: Sequence[Count]) -> dict[str, float]:
    """What withholding each count costs: the estimates that go with it."""
    costs = dict.fromkeys(ledger.entries, A_COUNT_COSTS)
    for headline, one in zip(whole.results["headline"].astype(bool), behind[RESULTS], strict=True):
        for name in {ledger.name_of(counted) for counted in one.gives_away} - {None} if one else ():
            costs[name] += (A_HEADLINE_COSTS if headline else 1.0) * (ROUNDLY_COSTS if one.may_be_rounded else 1.0)
        for name in {ledger.name_of(counted) for counted in one.by_interval} - {None} if one else ():
            costs[name] += AN_INTERVAL_COSTS * (A_HEADLINE_COSTS if headline else 1.0)
    for name in ledger.headline | ledger.quoted:
        costs[name] += AN_ANSWER_COSTS
    shown = {count.name: costs.get(count.name.rpartition(" | ")[0], 0.0) / len_of for count, len_of in _tables(counts)}
    return shown | {count.name: TOTAL_COSTS / len_of for count, len_of in _tables(counts) if count.members.all()}


def _tables(counts: Sequence[Count]) -> list[tuple[Count, int]]:
    """Each count with how many tables its number is seen in, among which its costs are divided."""
    n_tables = pd.Series([count.name.rpartition(" | ")[0] for count in counts]).value_counts()
    return [(count, int(n_tables[count.name.rpartition(" | ")[0]])) for count in counts]
