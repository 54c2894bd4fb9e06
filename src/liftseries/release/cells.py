"""By which grid rows are told roundly: the finest of which no number that it could tell gives a count away.

A cell is what lies between two values: rows told by a grid tell the cell that their number lies in. What a narrower
cell leaves open a wider one does, so the outer cells of all grids are looked at at once, by halving.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from liftseries.disclosure.coarser import Telling
from liftseries.disclosure.enumeration import Range
from liftseries.disclosure.parts import Together
from liftseries.release.digits import Grid

NEAR = 1e-9
ALONE = 3  # grids that are tried one by one, as most numbers are told by one of these


@dataclass
class Cells:
    """What rows that say one thing tell, were their number known to lie between two.

    Attributes
    ----------
    told : what is told of counts by a number between two
    telling : what a reader has
    step : of which the limits of cells are multiples
    most : the largest number that there can be
    within : what the number could be by what is told; None where that is to be found
    """

    told: Callable[[float, float], Sequence[Together]]
    telling: Telling
    step: float
    most: float
    within: Range | None = None
    _open: list[tuple[int, int]] = field(default_factory=list)
    _closed: list[tuple[int, int]] = field(default_factory=list)

    def grid_for(self, grids: Sequence[Grid]) -> Grid | None:
        """The first of some grids by which the rows can be told; None where there is none."""
        lowest, highest = self._limits()
        if lowest >= highest:
            return None  # an estimate of another kind, that says nothing of the kind
        widest = round(max(grid.unit for grid in grids) / self.step)
        for tried, grid in enumerate(grids):
            if tried == ALONE:
                ends, starts = self._outer(lowest, highest, widest)
            cells = self._cells_of(grid, lowest, highest)
            may_be = cells and (tried < ALONE or (cells[0][1] >= ends and cells[-1][0] <= starts))
            if may_be and all(self._is_open(*cell) for cell in (cells[0], *reversed(cells[1:]))):
                return grid
        return None

    def _outer(self, lowest: int, highest: int, widest: int) -> tuple[float, float]:
        """Before where the lowest cell of no grid may end, and behind where the highest of none may start."""
        low, high = lowest - widest, highest + widest
        if not self._is_open(low, high):
            return math.inf, -math.inf
        by_end = bisect_left(range(high - low), True, lo=1, key=lambda by: self._is_open(low, low + by))
        by_start = bisect_left(range(high - low), True, lo=1, key=lambda by: self._is_open(high - by, high))
        return low + by_end, high - by_start

    def _limits(self) -> tuple[int, int]:
        """What the number could be by what is told, in steps."""
        if self.within is not None:
            low, high = (
                math.floor(limit / self.step + sign * NEAR) for limit, sign in zip(self.within, (-1, 1), strict=True)
            )
            return max(low, 0), high + 1  # what lies at the end of a cell is the next one's
        end = round(self.most / self.step)
        first_end = bisect_left(range(end + 1), True, lo=1, key=lambda at: self._could_be(0, at))
        last_start = end - bisect_left(range(end + 1), True, lo=1, key=lambda by: self._could_be(end - by, end))
        return first_end - 1, last_start + 1

    def _cells_of(self, grid: Grid, lowest: int, highest: int) -> list[tuple[int, int]]:
        """The cells of a grid that hold what could be, in steps; none where one would say none or all."""
        numbers = grid.between(lowest * self.step, highest * self.step - self.step / 2)
        if self.most == 1 and not NEAR < numbers[0] <= numbers[-1] < 1 - NEAR:
            return []
        return [(round((one - grid.unit / 2) / self.step), round((one + grid.unit / 2) / self.step)) for one in numbers]

    def _could_be(self, low: int, high: int) -> bool:
        return self.telling.could_be(self.told(low * self.step, high * self.step))

    def _is_open(self, low: int, high: int) -> bool:
        """Whether a cell leaves all small counts open."""
        if any(low <= one and other <= high for one, other in self._open):
            return True
        if any(one <= low and high <= other for one, other in self._closed):
            return False
        is_open = self.telling.leaves_open(self.told(low * self.step, high * self.step))
        (self._open if is_open else self._closed).append((low, high))
        return is_open
