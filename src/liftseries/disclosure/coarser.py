"""Which numbers can be told beside others, coarsely, so that still no small count can be told: by the attack itself.

A number in a few digits is a range of the counts that it is worked out from.

*Situation:* a reader who knows that the finest rounding was taken that the attack allows learns from a coarse one that
no finer was allowed, and from a number that is not told that none was; of small tables that gives counts away.
*Choice:* a number is told where each value that it could have, by what is told before it, leaves all small counts open;
so whether and how it is told depends on what is told (simulatable auditing: Kenthapadi, Mishra and Nissim 2005, from
memory). *Rival:* to pass over values that it could not have, as it is known in the house which counts are of few: the
finer digits tell a reader which these must be, and of that some of them. *Consequence:* fewer numbers are told.
Which counts must stay open is known in the house alone; what that tells is not shown to be nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from liftseries.disclosure.counts import Count
from liftseries.disclosure.parts import NoSeries, Together, Value, goals_of, known_of, parts_of
from liftseries.disclosure.structure import structure_of, with_told

MOST_KEPT = 300  # series that are kept, the latest, as one of them may serve again


class Telling:
    """What is told beside the counts, taken in one after the other as long as no small count can be told.

    Parameters
    ----------
    counts, patients, values, needed : as in `attack.told_apart`, which recovers nothing of them
    before : what is known of several counts together beforehand
    """

    def __init__(
        self,
        counts: Sequence[Count],
        patients: np.ndarray,
        values: Mapping[str, Value],
        needed: Mapping[str, tuple[float, float]],
        before: Sequence[Together] = (),
    ):
        self.structure = with_told(structure_of(counts, patients), before)
        self.known, self.within = known_of(self.structure, values)
        self.goals = goals_of(self.structure, needed)
        self.told: list[Together] = []
        self.agreed = np.zeros(len(self.structure.numbers))  # values of all numbers, that agree with all that is told
        self.series = self.agreed[None]  # such values in which some numbers are as low or high as they have to be
        for part in parts_of(self.structure, self.known, self.within):
            found, _ = part.series_for(self.goals, np.empty((0, len(part.numbers))))
            self.agreed[part.numbers] = found[0]
            self._put_by(part.numbers, found)

    def range_of(self, name: str) -> tuple[float, float]:
        """Lowest and highest value of a count by what is told; not in whole numbers."""
        number = self.structure.number_of[name]
        if number in self.known:
            return self.known[number], self.known[number]
        (part,) = parts_of(self.structure, self.known, self.within, self.told, holding={number})
        return dict(part.bounds({number}, integers=False))[number]

    def could_be(self, further: Sequence[Together]) -> bool:
        """Whether this agrees with what is told; not in whole numbers."""
        try:
            parts = parts_of(self.structure, self.known, self.within, [*self.told, *further], self._asked(further))
            return not any(part.is_impossible() for part in parts)
        except NoSeries:
            return False

    def _asked(self, further: Sequence[Together]) -> set[int]:
        return {self.structure.number_of[name] for one in further for name in one.of}

    def leaves_open(self, further: Sequence[Together]) -> bool:
        """Whether nothing could be told were this told too, which agrees with what is."""
        try:
            return self._series_with(further) is not None
        except NoSeries:
            return False

    def takes(self, further: Sequence[Together]) -> bool:
        """Tells this too, if nothing can be told from it; else leaves all as it was."""
        found = self._series_with(further)
        if found is None:
            return False
        for numbers, series in found:
            self.agreed[numbers] = series[0]
        self.told += further
        return True

    def _series_with(self, further: Sequence[Together]) -> list[tuple[np.ndarray, np.ndarray]] | None:
        """Of each part that this is about its numbers, and series that reach all goals; None where they do not."""
        found = []
        told = [*self.told, *further]
        for part in parts_of(self.structure, self.known, self.within, told, holding=self._asked(further)):
            kept = part.agreeing(self.series[:, part.numbers])
            series, missed = part.series_for(self.goals, kept, stop=True)
            self._put_by(part.numbers, series[len(kept) :])
            if missed:
                # What could not be hidden is looked at first the next time: it will often be the same.
                self.goals = {number: self.goals[number] for number in (*missed, *self.goals)}
                return None
            found.append((part.numbers, series))
        return found

    def _put_by(self, numbers: np.ndarray, found: np.ndarray) -> None:
        """Some numbers' values kept, beside those of the others that agree."""
        if not len(found):
            return
        more = np.repeat(self.agreed[None], len(found), axis=0)
        more[:, numbers] = found
        self.series = np.vstack([self.series, more])[-MOST_KEPT:]
