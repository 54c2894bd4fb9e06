"""Which design effects are told as 1 or 2, where the counts behind them are withheld.

*Situation:* two decimals of a design effect tell how many have an event where they are few. *Choice:* 1, or 2 where it
is one and a half or more: any number from k on can have either, as long as nobody knows how many sites are a patient's
second. Where that is known, neither may tell anything by closer limits than those that it has (`effects`). *Rival:*
one decimal, which few numbers have. *Consequence:* none of events of more than a quarter of the sites, of which
patients have several by chance.
"""

from __future__ import annotations

import pandas as pd

from liftseries.disclosure.coarser import Telling
from liftseries.disclosure.declared import Behind, Counted
from liftseries.release.check import Known
from liftseries.release.effects import events_of, known_again, told_of_effect
from liftseries.release.entries import RESULTS
from liftseries.release.ledger import Place
from liftseries.release.masking import Masked

CLOSER = (0.75, 1.0, 2.0)  # times the limit, from one that nobody can be sure of to one that everybody can
RARE = 4  # times as many sites as have an event, at least


def effects_withheld(masked: Masked) -> list[Place]:
    """The design effects of which not all counts are told."""
    ledger, gone = masked.ledger, masked.ledger.withheld(masked.protection.withheld)
    return [
        (RESULTS, at)
        for at, one in enumerate(masked.behind[RESULTS])
        if one is not None and one.effect and not all(ledger.is_told(counted, gone) for counted in one.gives_away)
    ]


def effects_told(masked: Masked, numbers: pd.Series, known: Known, telling: Telling, smallest_cell: int) -> list[Place]:
    """Which of these may be told.

    Parameters
    ----------
    masked : what leaves
    numbers : row of results.csv -> 1 or 2
    known, telling : what a reader has, and the attack on it with what is told roundly
    smallest_cell : k
    """
    choice, behind = _Choice(masked, known, telling, smallest_cell), masked.behind[RESULTS]
    told = [at for at, number in numbers.items() if choice.may_be_told(behind[at]) and choice.takes(behind[at], number)]
    return [(RESULTS, at) for at in told]


class _Choice:
    """Which may be told: rows of the same counts are looked at once."""

    def __init__(self, masked: Masked, known: Known, telling: Telling, smallest_cell: int):
        self.ledger, self.again, self.smallest_cell = masked.ledger, known_again(masked), smallest_cell
        self.known, self.telling = known, telling
        self._open: dict[tuple[str | None, ...], bool] = {}
        self._taken: dict[tuple, bool] = {}

    def may_be_told(self, behind: Behind) -> bool:
        """Whether neither number would tell anything of the counts behind an effect."""
        names = self._names(behind)
        if names not in self._open:
            self._open[names] = self._are_many(behind) and self._leaves_open(behind)
        return self._open[names]

    def takes(self, behind: Behind, number: float) -> bool:
        """Tells the number."""
        key = self._names(behind), number
        if key not in self._taken:
            told = told_of_effect(number, behind, self.ledger, self.again, self.smallest_cell)
            self._taken[key] = self.telling.takes(self.known.in_counts(told))
        return self._taken[key]

    def _names(self, behind: Behind) -> tuple[str | None, ...]:
        return tuple(self.ledger.name_of(one) for one in (*behind.gives_away, Counted(behind.rests_on[0])))

    def _are_many(self, behind: Behind) -> bool:
        """Whether k patients or more stand behind each count, and events are rare."""
        names = self._names(behind)
        if None in names or min(self.ledger.entries[name].n_patients for name in names) < self.smallest_cell:
            return False
        n_events = [self._range_of(self.ledger.name_of(counted))[1] for counted in events_of(behind)]
        return bool(n_events) and RARE * max(n_events) <= self._range_of(names[-1])[0]

    def _range_of(self, name: str) -> tuple[float, float]:
        return self.telling.range_of(self.known.names[name])

    def _leaves_open(self, behind: Behind) -> bool:
        rest = behind, self.ledger, self.again, self.smallest_cell
        for number in (1.0, 2.0):
            cells = (self.known.in_counts(told_of_effect(number, *rest, times)) for times in CLOSER)
            closest = next((cell for cell in cells if self.telling.could_be(cell)), None)
            if closest is not None and not self.telling.leaves_open(closest):
                return False  # further off it would leave open what it does here
        return True
