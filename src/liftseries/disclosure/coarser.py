"""Which numbers can be told beside others, coarsely, so that still no small count can be told: by the attack itself.

A number in a few digits is a range of the counts that it is worked out from. One candidate after the other is told
where the attack, with all ranges told so far, recovers nothing; a series found for an earlier one that agrees with the
next need not be found again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from liftseries.disclosure.counts import Count
from liftseries.disclosure.parts import Together, Value, goals_of, known_of, parts_of
from liftseries.disclosure.structure import structure_of


class Telling:
    """What is told beside the counts, taken in one after the other as long as no small count can be told.

    Parameters
    ----------
    counts, patients, values, needed : as in `attack.told_apart`, which recovers nothing of them
    """

    def __init__(
        self,
        counts: Sequence[Count],
        patients: np.ndarray,
        values: Mapping[str, Value],
        needed: Mapping[str, tuple[float, float]],
    ):
        self.structure = structure_of(counts, patients)
        self.known, self.within = known_of(self.structure, values)
        self.goals = goals_of(self.structure, needed)
        self.told: list[Together] = []
        self.agreed = np.zeros(len(self.structure.numbers))  # values of all numbers, that agree with all that is told
        self.series = self.agreed[None]  # such values in which some numbers are as low or high as they have to be
        for part in parts_of(self.structure, self.known, self.within):
            found, _ = part.series_for(self.goals, [])
            self.agreed, self.series = self._with(self.agreed, self.series, part.numbers, found)

    def takes(self, further: Sequence[Together]) -> bool:
        """Tells this too, if nothing can be told from it; else leaves all as it was."""
        told = [*self.told, *further]
        asked = {self.structure.number_of[name] for one in further for name in one.of}
        agreed, series = self.agreed, self.series
        for part in parts_of(self.structure, self.known, self.within, told):
            if asked.isdisjoint(part.numbers.tolist()):
                continue
            agree = [one for one in np.unique(self.series[:, part.numbers], axis=0) if part.agrees(one)]
            found, reached = part.series_for(self.goals, agree, stop=True)
            if not reached:
                return False
            agreed, series = self._with(agreed, series, part.numbers, found)
        self.told, self.agreed, self.series = told, agreed, series
        return True

    @staticmethod
    def _with(
        agreed: np.ndarray, series: np.ndarray, numbers: np.ndarray, found: Sequence[np.ndarray]
    ) -> tuple[np.ndarray, np.ndarray]:
        """The first series found of some numbers taken over, and all of them beside those that there are."""
        agreed = agreed.copy()
        agreed[numbers] = found[0]
        more = np.repeat(agreed[None], len(found), axis=0)
        more[:, numbers] = found
        return agreed, np.vstack([series, more])
