"""By which grid numbers are told roundly: whoever knows how it is chosen learns nothing of the few from it.

Every series of a kind is made, told as the rule says, and what a reader is left with is gathered: each thing told must
leave one to four.
"""

from __future__ import annotations

import math
from functools import cache
from itertools import combinations_with_replacement

import numpy as np
import pytest
from disclosure.ledgers import FEW, groups_of, telling_of

from liftseries.disclosure.coarser import Telling
from liftseries.disclosure.counts import Count
from liftseries.disclosure.declared import Behind, ByMonth, Counted
from liftseries.disclosure.parts import Together
from liftseries.release.by_month import Row, told_by_month
from liftseries.release.cells import Cells
from liftseries.release.coarse import HALF_A_MONTH, HALF_A_PER_CENT, MONTHS_APART, SHARES
from liftseries.release.digits import Grid

K = 5

# Two groups and one to four beside them have an event; how many of each group is withheld, all of them are told.
TABLES = [((40, 40), 15), ((40, 200), 16), ((200, 300), 25)]
NOTHING_TOLD = (40, 40)  # where one to four may be none as well
Told = tuple[tuple[int, Grid | None, float], ...]  # of each group its grid and number, in turn


def cell(group: int, size: int, low: float, high: float) -> list[Together]:
    return [Together({str(group): 1.0}, low * size, high * size - 0.01)]


@cache
def telling_after(sizes: tuple[int, int], total: int, told: Told) -> Telling:
    """What is known of such a series, and which shares of it are told."""
    telling = telling_of(sizes, total)
    for group, grid, number in told:
        if grid is not None:
            assert telling.takes(cell(group, sizes[group], number - grid.unit / 2, number + grid.unit / 2))
    return telling


@cache
def grid_of(sizes: tuple[int, int], total: int, told: Told, group: int) -> Grid | None:
    telling, size = telling_after(sizes, total, told), sizes[group]
    low, high = telling.range_of(str(group))
    cells = Cells(
        lambda low, high: cell(group, size, low, high), telling, HALF_A_PER_CENT, 1.0, (low / size, high / size)
    )
    return cells.grid_for(SHARES)


@pytest.mark.parametrize(("sizes", "total"), TABLES)
def test_shares_and_their_grids_leave_one_to_four(sizes, total):
    left: dict[Told, set[int]] = {}
    for *of_groups, few in groups_of(sizes, total):
        told: Told = ()
        for group, (n_events, size) in enumerate(zip(of_groups, sizes, strict=True)):
            grid = grid_of(sizes, total, told, group)
            told = (*told, (group, grid, grid.told(n_events / size) if grid else math.nan))
        left.setdefault(tuple(one for one in told if one[1] is not None), set()).add(few)
    assert any(told for told in left) == (sizes != NOTHING_TOLD)
    assert all({min(FEW), max(FEW)} <= few for few in left.values())


# Of two hundred 12 have failed by month 12, which is told; one to four more by month 36, when fewer are at risk.
N, FIRST, MONTHS = 200, 12, (12.0, 36.0)


class Curve:
    """A curve of which so many are at risk at month 36."""

    def __init__(self, at_risk: int):
        n = np.arange(N)
        self.failed = [n < FIRST, n < FIRST + 2]
        still = [n >= N - 170, n >= N - at_risk]
        self.at_risk, self.behind = (
            at_risk,
            {
                says: [
                    Behind(gives_away=(Counted(failed),), by_month=ByMonth(says, month, n >= 0, left, n < 0))
                    for failed, month, left in zip(self.failed, MONTHS, still, strict=True)
                ]
                for says in ("survival", "months")
            },
        )

    def name_of(self, counted: Counted) -> str:
        return "first" if np.array_equal(counted.members, self.failed[0]) else "second"

    def telling(self) -> Telling:
        between = self.failed[1] & ~self.failed[0]
        sets = {"all": np.ones(N, bool), "first": self.failed[0], "second": self.failed[1], "between": between}
        counts = [Count(name, members, published=name != "between", table="t") for name, members in sets.items()]
        known = {"all": N, "first": FIRST, "second": (K, math.inf), "between": (0, K - 1)}
        return Telling(counts, np.arange(N), known, {"between": (1.0, 4.0)})

    def rows(self, survival: float, lost: float) -> list[Row]:
        """What is told of month 12 in all digits."""
        numbers = {"survival": round(survival, 3), "months": round(12 - lost, 2)}
        return [Row((says, 0), self.behind[says][0], (one, math.nan, math.nan)) for says, one in numbers.items()]

    def told(self, rows: list[Row], says: str, low: float, high: float) -> list[Together]:
        mine = Row((says, 1), self.behind[says][1], ((low + high) / 2, math.nan, math.nan), high - low)
        return [one for of, told in told_by_month([*rows, mine], self, K) if mine.place in of for one in told]


def series_of(at_risk: int) -> list[tuple[int, float, float]]:
    """How many fail between the months, survival at the second and months lost by then, for each way to fail."""
    survival, lost = 1 - FIRST / 190, 12 * 0.5 * FIRST / 190
    found = []
    for few in FEW:
        # Early, midway and late, when so many are at risk: each failure counts for more the later it is.
        for ways in combinations_with_replacement(
            ((13.0, 165), (24.0, (165 + at_risk) // 2), (35.0, at_risk + 4)), few
        ):
            left, gone, since = survival, lost, 12.0
            for k, (month, n) in enumerate(ways):
                gone, since = gone + (1 - left) * (month - since), month
                left *= 1 - 1 / (n - k)
            found.append((few, left, gone + (1 - left) * (36.0 - since)))
    return found


@pytest.mark.parametrize("at_risk", [30, 60, 90, 140])
def test_a_curve_and_its_months_leave_one_to_four_between_two_months(at_risk):
    """Survival at the second month, and then the mean months until it, told as they may be."""
    curve, left = Curve(at_risk), {}
    beside = curve.rows(1 - FIRST / 190, 12 * 0.5 * FIRST / 190)
    shares = Cells(lambda low, high: curve.told(beside, "survival", low, high), curve.telling(), HALF_A_PER_CENT, 1.0)
    grid = shares.grid_for(SHARES)
    assert grid is not None
    for few, survival, lost in series_of(at_risk):
        number, telling = grid.told(survival), curve.telling()
        further = shares.told(number - grid.unit / 2, number + grid.unit / 2)
        assert all(holds(one, few) for one in further)
        assert telling.takes(further)
        rows = [*beside, Row(("survival", 1), curve.behind["survival"][1], (number, math.nan, math.nan), grid.unit)]
        months, told = _months_for(curve, number, rows, telling), (number,)
        if months is not None:
            mean = months.told(36.0 - lost)
            assert all(
                holds(one, few) for one in curve.told(rows, "months", mean - months.unit / 2, mean + months.unit / 2)
            )
            told = (number, mean)
        left.setdefault(told, set()).add(few)
    assert all({min(FEW), max(FEW)} <= few for few in left.values())
    assert {len(told) for told in left} == {2}


def test_of_few_at_risk_each_failure_takes_so_much_that_nothing_is_told():
    curve = Curve(20)
    beside = curve.rows(1 - FIRST / 190, 12 * 0.5 * FIRST / 190)
    shares = Cells(lambda low, high: curve.told(beside, "survival", low, high), curve.telling(), HALF_A_PER_CENT, 1.0)
    assert shares.grid_for(SHARES) is None


_FOUND: dict[tuple[int, float], Grid | None] = {}


def _months_for(curve: Curve, number: float, rows: list[Row], telling: Telling) -> Grid | None:
    key = curve.at_risk, number
    if key not in _FOUND:
        cells = Cells(lambda low, high: curve.told(rows, "months", low, high), telling, HALF_A_MONTH, 36.0)
        _FOUND[key] = cells.grid_for(MONTHS_APART)
    return _FOUND[key]


def holds(one: Together, few: int) -> bool:
    value = {"first": FIRST, "second": FIRST + few}
    return one.lowest - 1e-6 <= sum(times * value[name] for name, times in one.of.items()) <= one.highest + 1e-6


def test_the_true_share_alone_would_give_some_away():
    """Of the share of each series the finest cell that leaves one to four open: else the rule would prove nothing."""
    sizes, total = TABLES[1]
    left: dict[tuple, set[int]] = {}
    for first, _, few in groups_of(sizes, total):
        telling, told = telling_after(sizes, total, ()), None
        for grid in SHARES:
            number = grid.told(first / sizes[0])
            if telling.leaves_open(cell(0, sizes[0], number - grid.unit / 2, number + grid.unit / 2)):
                told = (grid, number)
                break
        left.setdefault((told,), set()).add(few)
    assert not all({min(FEW), max(FEW)} <= few for few in left.values())
