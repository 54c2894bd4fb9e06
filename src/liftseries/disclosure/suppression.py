"""Which counts must be withheld so that nobody can work out a small one.

A count is *sensitive* when 1 to smallest_cell - 1 patients stand behind it: the threshold rule (Hundepool et al.,
Statistical Disclosure Control, Wiley 2012, chapter 4; from memory). What holds for the count of sites of few patients,
and for one that is printed nowhere but could be worked out, holds for them all. Not sensitive are

- nought: nobody stands behind it. Where it tells something of everybody in a small group, the group is not told at all
  (`release.groups`), and neither is "all of them", its complement;
- what is fixed: it is known from elsewhere. A count of the same few sites or patients is withheld all the same.

A sensitive count is *protected* when other series, in whole sites and patients, agree with all that stays published
and have 1 there, or fewer, and smallest_cell - 1, or more, where earlier releases leave that open (`needs`): a reader
can tell that they are few, and no more.
What is withheld and not told as few is known to be no less than the smallest cell; a nought that is withheld is told
as few, too. Where small counts cannot be hidden as long as they are told as few, their tables do not tell which are.
Protected is each sensitive count that the ledger lists; a group that it does not list is not, nor is anything
against a reader who knows some of the patients and takes them off.

The counts withheld for others are found as Kelly, Golden and Assad do (Networks 22, 1992, 397-417; from memory): for
one sensitive count after the other, the cheapest change of all counts together that takes it as far as it needs, by
linear programming; what changes is withheld. In the end each one withheld is published again if all stay protected
without it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.disclosure.counts import Count, Set, check_counts, n_patients_behind, set_of, value_of
from liftseries.disclosure.needs import Need, need_of
from liftseries.disclosure.other_series import OtherSeries, cheapest_other_series
from liftseries.disclosure.structure import Structure, Together, structure_of, with_told

NEAR = 1e-3  # what a withheld count's change costs: next to nothing, so that changes stay near
MOST_SECOND_LOOKS = 400  # linear programs spent on publishing again; after more, next to nothing is gained


@dataclass(frozen=True)
class Protection:
    """What is withheld, and what an attacker is left with.

    Attributes
    ----------
    suppressed : published counts with 1 to smallest_cell - 1 patients behind them
    complementary : published counts withheld so that those cannot be worked out
    told_as_few : of both, those of which may be told that they are fewer than the smallest cell, none of them even
    told_as_many : of both, those known to be no fewer, since they would be told as few
    intervals : one row for every sensitive count, published or not
        `name, value, patients, lower, upper, needed_lower, needed_upper, protected`: series with `lower` and with
        `upper` there agree with all that stays published, so an attacker's interval is at least that wide; `protected`
        when it reaches both that are needed, in whole sites and patients.
    """

    suppressed: frozenset[str]
    complementary: frozenset[str]
    told_as_few: frozenset[str]
    told_as_many: frozenset[str]
    intervals: pd.DataFrame

    @property
    def withheld(self) -> frozenset[str]:
        """All that may not be printed."""
        return self.suppressed | self.complementary


def protect(
    counts: Sequence[Count],
    patients: np.ndarray,
    smallest_cell: int,
    *,
    weights: Mapping[str, float] | None = None,
    told: Sequence[Together] = (),
    left: Mapping[Set, Need] | None = None,
    barred: Collection[str] = (),
) -> Protection:
    """Withhold small counts and as few others as are needed to hide them.

    Parameters
    ----------
    counts : the whole ledger; names are unique
    patients : shape (n_sites,), int
        The number of each site's patient.
    smallest_cell : fewest patients that a printed count may rest on
    weights : what withholding a count costs, by name; when absent, log(1 + value)
    told : what is known of several counts together, whatever is withheld
    left : what earlier releases leave of what counts need: see `earlier`
    barred : names of counts that are withheld whatever can be worked out from them

    Returns
    -------
    Protection

    Raises
    ------
    ValueError
        A ledger that contradicts itself; all faults named.
    """
    check_counts(counts, patients)
    structure = with_told(structure_of(counts, patients), told)
    rules = _Rules(smallest_cell, weights or {}, left or {}, frozenset(barred))
    search = _protected(structure, np.asarray(patients), rules)
    withheld = {count.name for number in search.withheld for count in structure.numbers[number].counts}
    small = {count.name for number in search.sensitive for count in structure.numbers[number].counts}
    few, many = (
        {count.name for number in np.flatnonzero(which) for count in structure.numbers[number].counts}
        for which in (search.few, search.lowest > 0)
    )
    printed = {count.name for count in counts if count.published}
    out = {count.name: value for count, value in search.out_already()}
    return Protection(
        frozenset(withheld & small & printed) | out.keys(),
        frozenset((withheld - small) & printed),
        frozenset(few & withheld & printed) | {name for name, value in out.items() if value < smallest_cell},
        frozenset(many & withheld & printed),
        search.intervals(counts),
    )


@dataclass(frozen=True)
class _Rules:
    """What `protect` is asked for."""

    smallest_cell: int
    weights: Mapping[str, float]
    left: Mapping[Set, Need]
    barred: frozenset[str]


def _protected(structure: Structure, patients: np.ndarray, rules: _Rules) -> _Search:
    """A finished search; where some counts cannot be hidden, one that tells less of their tables, then of all."""
    everything = np.ones(len(structure.numbers), bool)
    search = _Search(structure, patients, rules, everything)
    search.hide_all()
    for may_be_few in (~_beside(structure, search.open_ones()), ~everything) if search.open_ones() else ():
        search = _Search(structure, patients, rules, may_be_few)
        search.hide_all()
        if not search.open_ones():
            break
    search.publish_again()
    return search


def _beside(structure: Structure, some: Sequence[int]) -> np.ndarray:
    """Which numbers stand in a table with one of some, shape (n_numbers,), true/false."""
    tables = {count.table for i in some for count in structure.numbers[i].counts}
    return np.array([any(count.table in tables for count in number.counts) for number in structure.numbers], bool)


class _Search:
    """The numbers withheld so far, and the other series that show what they hide."""

    def __init__(self, structure: Structure, patients: np.ndarray, rules: _Rules, may_be_few: np.ndarray):
        self.smallest_cell = smallest_cell = rules.smallest_cell
        weights, left = rules.weights, rules.left
        numbers = structure.numbers
        self.structure = structure
        self.value = np.array([value_of(number.counts[0], patients) for number in numbers], float)
        self.behind = np.array([n_patients_behind(number.counts[0], patients) for number in numbers])
        self.fixed = np.array([number.fixed for number in numbers], bool)
        self.cost = np.array(
            [
                sum(max(weights.get(c.name, np.log1p(v)), NEAR) for c in number.counts if c.published)
                for number, v in zip(numbers, self.value, strict=True)
            ]
        )
        is_small = (self.behind >= 1) & (self.behind < smallest_cell) & ~self.fixed
        self.sensitive = [int(i) for i in np.flatnonzero(is_small)]
        enough = self.value >= smallest_cell
        published = np.array([number.published for number in numbers], bool)
        self.few = ~enough & published & ~self.fixed & may_be_few
        # What is withheld and not told as few is known to be no less than the smallest cell.
        self.lowest = np.where(enough & published & may_be_few, float(smallest_cell), 0.0)
        self.highest = np.where(self.few, smallest_cell - 1.0, np.inf)
        self.needed = {}
        for i in self.sensitive:
            low, high = need_of(self.value[i], smallest_cell, left.get(set_of(numbers[i].counts[0]), (0.0, np.inf)))
            self.needed[i] = max(self.lowest[i], low), high
        # What nobody prints may differ freely, like what is withheld.
        self.barred = np.array([any(count.name in rules.barred for count in one.counts) for one in numbers], bool)
        self.hidden = (is_small | self.barred | ~published) & ~self.fixed
        self.series: list[OtherSeries] = []

    @property
    def withheld(self) -> list[int]:
        return [i for i in np.flatnonzero(self.hidden) if self.structure.numbers[i].published]

    def out_already(self) -> Iterator[tuple[Count, float]]:
        """The counts of few patients that another one gives away, which is known; each with its value."""
        for i in np.flatnonzero(self.fixed & (self.behind >= 1) & (self.behind < self.smallest_cell)):
            for count in self.structure.numbers[i].counts:
                if count.published and not count.fixed:
                    yield count, float(self.value[i])

    def hide_all(self) -> None:
        """Withhold, for one sensitive number after the other, what it takes; those that need most first."""
        goals = [(i, goal) for i in self.sensitive for goal in self.needed[i]]
        for i, goal in sorted(goals, key=lambda one: (-abs(one[1] - self.value[one[0]]), one)):
            if self._reached(i, goal, self.series):
                continue
            series = self._other_series(i, goal, self.hidden, may_withhold=True)
            self.series.append(series)
            self.hidden[list(series.values)] = True

    def open_ones(self) -> list[int]:
        """The sensitive numbers that cannot be hidden, whatever is withheld."""
        return [i for i in self.sensitive if not all(self._reached(i, goal, self.series) for goal in self.needed[i])]

    def publish_again(self) -> None:
        """Publish again what turns out not to be needed; the dearest first."""
        looks = 0
        for i in sorted(
            set(self.withheld) - {*self.sensitive, *np.flatnonzero(self.barred)}, key=lambda i: (-self.cost[i], i)
        ):
            without = self.hidden.copy()
            without[i] = False
            kept = [series for series in self.series if i not in series.values]
            for sensitive, goal in [(s, goal) for s in self.sensitive for goal in self.needed[s]]:
                if self._reached(sensitive, goal, kept) or not self._reached(sensitive, goal, self.series):
                    continue
                looks += 1
                series = self._other_series(sensitive, goal, without, may_withhold=False)
                if not self._reached(sensitive, goal, [series]):
                    break
                kept.append(series)
            else:
                self.hidden, self.series = without, kept
            if looks > MOST_SECOND_LOOKS:
                return

    def intervals(self, counts: Sequence[Count]) -> pd.DataFrame:
        rows = []
        for count in counts:
            i = self.structure.number_of[count.name]
            if i not in self.needed:
                continue
            reached = [self.value[i], *(series.values.get(i, self.value[i]) for series in self.series if series.whole)]
            done = all(self._reached(i, goal, self.series) for goal in self.needed[i])
            value, (low, high) = int(self.value[i]), self.needed[i]
            rows.append((count.name, value, int(self.behind[i]), min(reached), max(reached), int(low), int(high), done))
        columns = ["name", "value", "patients", "lower", "upper", "needed_lower", "needed_upper", "protected"]
        return pd.DataFrame(rows, columns=columns)

    def _reached(self, i: int, goal: float, among: Sequence[OtherSeries]) -> bool:
        if goal == self.value[i]:
            return True
        values = (series.values.get(i, self.value[i]) for series in among if series.whole)
        return any(value <= goal if goal < self.value[i] else value >= goal for value in values)

    def _other_series(self, i: int, goal: float, hidden: np.ndarray, *, may_withhold: bool) -> OtherSeries:
        free = np.flatnonzero(hidden | (may_withhold & ~self.fixed))
        price = np.where(hidden, NEAR, self.cost)[free]
        limits = self.lowest, self.highest
        return cheapest_other_series(
            self.structure, self.value, i, goal, free, price, *limits, short_of_it=may_withhold
        )
