"""A series so small that nearly every count hangs on another: what it tells is its size and the headline's counts.

*Situation:* of twelve patients two counts in three are of few; to look for the fewest that hide them takes minutes and
leaves little. *Choice:* nothing is told but the counts that a headline question asks for, each only where the attack
then recovers nothing, the size of the series first.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.disclosure.attack import told_apart
from liftseries.disclosure.counts import Count, n_patients_behind, value_of
from liftseries.disclosure.needs import needs_of
from liftseries.disclosure.structure import structure_of
from liftseries.disclosure.suppression import Protection
from liftseries.release.ledger import Ledger

INTERVALS = ["name", "value", "patients", "lower", "upper", "needed_lower", "needed_upper", "protected"]


def headline_alone(ledger: Ledger, counts: Sequence[Count], smallest_cell: int) -> Protection:
    """All withheld but what is known, and as many of the headline's counts as the attack allows.

    Parameters
    ----------
    ledger
    counts : of the ledger, as the protection takes them
    smallest_cell : k
    """
    trial = _Trial(ledger, counts, smallest_cell)
    by_size = sorted(filter(trial.may_be_told, ledger.headline), key=lambda name: (-ledger.entries[name].value, name))
    kept: set[str] = set(by_size)
    if trial.recovers(kept):
        kept = set()
        for name in by_size:
            kept |= set() if trial.recovers(kept | {name}) else {name}
    few = {name for name in kept if trial.is_few(name)}
    published = [count for count in counts if count.published and not count.fixed]
    gone = {count.name for count in published if _base(count) not in kept - few}
    small = {count.name for count in published if n_patients_behind(count, ledger.patients) < smallest_cell}
    told = frozenset(count.name for count in published if _base(count) in few)
    intervals = pd.DataFrame(columns=INTERVALS)
    return Protection(frozenset(gone & small), frozenset(gone - small), told, frozenset(), intervals)


class _Trial:
    """The attack on some of the headline's counts, told exactly or, of few patients, as few."""

    def __init__(self, ledger: Ledger, counts: Sequence[Count], smallest_cell: int):
        self.ledger, self.counts, self.smallest_cell = ledger, counts, smallest_cell
        self.value = {count.name: value_of(count, ledger.patients) for count in counts}
        self.known = {count.name: self.value[count.name] for count in counts if count.fixed}
        numbers = structure_of(counts, ledger.patients).numbers
        # The series itself, and what is found on the way: most of it answers the next trial, too.
        self.tried = [np.array([self.value[number.counts[0].name] for number in numbers], float)]
        self.needed = needs_of(counts, ledger.patients, smallest_cell, ledger.left)

    def is_few(self, name: str) -> bool:
        """Whether a count is told as few."""
        return 1 <= self.ledger.entries[name].n_patients < self.smallest_cell

    def may_be_told(self, name: str) -> bool:
        """Whether a count can be told at all: k sites or more of few patients are neither few nor enough."""
        if name in self.ledger.barred:
            return False
        return not (self.is_few(name) and self.ledger.entries[name].value >= self.smallest_cell)

    def recovers(self, kept: set[str]) -> bool:
        """Whether a small count can be told once these are."""
        values: dict[str, int | tuple[int, int]] = dict(self.known)
        for count in self.counts:
            if count.published and not count.fixed and _base(count) in kept:
                few = self.is_few(_base(count))
                values[count.name] = (0, self.smallest_cell - 1) if few else self.value[count.name]
        told = told_apart(self.counts, self.ledger.patients, values, self.needed, self.ledger.told_before, self.tried)
        return bool(told["recovered"].any())


def _base(count: Count) -> str:
    return count.name.rpartition(" | ")[0] or count.name
