"""Shares and survival told roundly, without their counts, where these must be withheld.

*Situation:* that 2 failed between month 12 and 36 is told by the numbers failed by each, so one of them goes, and with
it went all estimates of that month; a count that goes for the sake of others took its share along. *Choice:* they are
told in steps of 1 to 10 per cent, months in function of 1 to 4 months, from where the steps are counted chosen with
them: the finest of which the attack recovers nothing whichever number were told (`cells`, `disclosure.coarser`); how
far off it may be stands beside it. *Rival:* multiples of a step, one of which often parts what must stay together.
*Consequence:* the dearest leave first. Their intervals do not leave: of patients with a site each, how wide one is
tells how many have the event.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd

from liftseries.disclosure.coarser import Telling
from liftseries.disclosure.declared import Behind, Counted
from liftseries.disclosure.enumeration import Range
from liftseries.disclosure.parts import Together
from liftseries.models.shared.population import Population
from liftseries.release.by_month import Row, estimate_of, rows_by_month, told_by_month
from liftseries.release.cells import Cells
from liftseries.release.changed import may_be
from liftseries.release.check import Known, known_of
from liftseries.release.coarse_effects import effects_told, effects_withheld
from liftseries.release.digits import Grid
from liftseries.release.entries import RESULTS
from liftseries.release.ledger import Place
from liftseries.release.masking import Masked, masked_material, tables_of
from liftseries.release.shares import share_within, told_of_share

SHARE, MONTHS = "share", "months"
IN_TURN = (SHARE, "survival", "failed", MONTHS, "life table")  # what estimates say, the dearest first
# The finest first.
SHARES = [Grid(per_cent / 100, first / 100) for per_cent in (1, 2, 3, 4, 5, 6, 8, 10) for first in range(per_cent)]
EFFECTS = Grid(1.0)
MONTHS_APART = [Grid(months, first) for months in (1, 2, 3, 4) for first in range(months)]
NEAR = 1e-6
HALF_A_PER_CENT, HALF_A_MONTH = 0.005, 0.5  # of which the ends of cells are multiples
Told = Callable[[float, float], list[Together]]


def with_coarse(masked: Masked, smallest_cell: int) -> Masked:
    """The same, and shares and estimates by month told roundly as far as no count of few patients can be told.

    Nothing of a series that tells its headline's counts alone: there nearly every count hangs on another.
    """
    if masked.protection.intervals.empty:
        return masked
    places = _withheld(masked, smallest_cell)
    known = known_of(masked, smallest_cell)
    telling = Telling(known.counts, masked.ledger.patients, known.values, known.needed, masked.ledger.told_before)
    effects = effects_withheld(masked)
    could_be = [*places, *effects]
    told = tables_of(_told(masked, dict.fromkeys(could_be, SHARES[0]), smallest_cell).material)
    could_be = {(name, at) for name, at in could_be if told[name][estimate_of(told[name])].notna().iloc[at]}
    choice = _Choice(masked, smallest_cell, known, telling, could_be)
    groups = _groups(masked, [place for place in places if place in could_be], places)
    for says in IN_TURN:
        for rows in groups[says]:
            choice.try_telling(rows)
    rows = [at for name, at in effects if (name, at) in could_be]
    may = {at: may_be(masked, [(RESULTS, at)], [EFFECTS], smallest_cell) for at in rows}
    numbers = told[RESULTS]["estimate"].iloc[[at for at in rows if may[at].told_as(told[RESULTS]["estimate"].iloc[at])]]
    effects = effects_told(masked, numbers, known, telling, smallest_cell)
    return _told(masked, choice.told | dict.fromkeys(effects, EFFECTS), smallest_cell)


@dataclass
class _Choice:
    """What is told roundly so far.

    Attributes
    ----------
    masked, smallest_cell : what leaves, and k
    known, telling : what a reader has, and the attack on it with what is told roundly
    could_be : the rows that could be told roundly
    told : those that are, and how
    """

    masked: Masked
    smallest_cell: int
    known: Known
    telling: Telling
    could_be: Collection[Place]
    told: dict[Place, Grid] = field(default_factory=dict)

    def try_telling(self, rows: Sequence[Place]) -> None:
        """Tells rows that say the same, by the finest grid of which no number that it could tell gives a count away."""
        by_month = self._behind(rows[0]).by_month
        in_months = by_month is not None and by_month.says == MONTHS
        if in_months:
            cells = Cells(self._told_by_month(rows), self.telling, HALF_A_MONTH, by_month.month)
        elif by_month:
            cells = Cells(self._told_by_month(rows), self.telling, HALF_A_PER_CENT, 1.0)
        else:
            within = self._share_within(rows[0])
            cells = Cells(self._told_by_share(rows[0]), self.telling, HALF_A_PER_CENT, 1.0, within)
        may = may_be(self.masked, rows, MONTHS_APART if in_months else SHARES, self.smallest_cell)
        if may.again is not None and self._tells(rows, cells, may.again):
            return
        grid = cells.grid_for(may.grids) if may.grids else None
        if grid is not None and may.told_as(grid.told(self._value(rows[0]))):
            self._tells(rows, cells, grid)

    def _tells(self, rows: Sequence[Place], cells: Cells, grid: Grid) -> bool:
        """Tells rows by a grid, if nothing can be told from their number."""
        number = grid.told(self._value(rows[0]))
        further = cells.told(number - grid.unit / 2, number + grid.unit / 2)
        tells = self._hold(further) and self.telling.takes(further)
        self.told |= dict.fromkeys(rows, grid) if tells else {}
        return tells

    def _told_by_share(self, row: Place) -> Told:
        names = [self.masked.ledger.name_of(counted) for counted in self._behind(row).gives_away]

        def told(low: float, high: float) -> list[Together]:
            share = share_within((low + high) / 2, high - low)
            return self.known.in_counts(told_of_share(*names, share, self.smallest_cell))

        return told

    def _told_by_month(self, rows: Sequence[Place]) -> Told:
        """What rows would tell of a month, by what is told of their curve."""
        beside = [row for row in self._of_curve[self._curve(rows[0])] if row.place not in self.could_be]
        beside += [
            self._row(place, self.told[place].told(self._value(place)), grid.unit)
            for place, grid in self.told.items()
            if self._curve(place) == self._curve(rows[0])
        ]

        def told(low: float, high: float) -> list[Together]:
            mine = [self._row(place, (low + high) / 2, high - low) for place in rows]
            found = told_by_month([*beside, *mine], self.masked.ledger, self.smallest_cell)
            return self.known.in_counts(one for of, ranges in found if set(of) & set(rows) for one in ranges)

        return told

    def _share_within(self, row: Place) -> Range:
        """What a share could be, as k have it."""
        whole, part = (self._range_of(counted) for counted in self._behind(row).gives_away)
        return max(part[0], self.smallest_cell) / max(whole[1], 1.0), min(part[1] / max(whole[0], 1.0), 1.0)

    def _range_of(self, counted: Counted) -> Range:
        return self.telling.range_of(self.known.names[self.masked.ledger.name_of(counted)])

    def _hold(self, ranges: Sequence[Together]) -> bool:
        """Whether ranges are true of the series: what an estimate of another kind tells would be none of these."""
        value = {self.known.names[name]: entry.value for name, entry in self.masked.ledger.entries.items()}
        values = [sum(times * value[name] for name, times in one.of.items()) for one in ranges]
        return all(one.lowest - NEAR <= n <= one.highest + NEAR for one, n in zip(ranges, values, strict=True))

    def _behind(self, row: Place) -> Behind:
        return self.masked.behind[row[0]][row[1]]

    def _value(self, row: Place) -> float:
        table = self.masked.whole.table(row[0])
        return float(table[estimate_of(table)].iloc[row[1]])

    def _curve(self, row: Place) -> tuple | None:
        by_month = self._behind(row).by_month
        return by_month.curve if by_month else None

    def _row(self, place: Place, number: float, unit: float) -> Row:
        return Row(place, self._behind(place), (number, math.nan, math.nan), unit)

    @cached_property
    def _of_curve(self) -> dict[tuple, list[Row]]:
        """The rows of each curve that are told in all their digits."""
        found: dict[tuple, list[Row]] = defaultdict(list)
        for row in rows_by_month(tables_of(self.masked.material), self.masked.behind, {}):
            found[self._curve(row.place)].append(row)
        return found


def _groups(masked: Masked, could_be: Sequence[Place], says: Mapping[Place, str]) -> dict[str, list[list[Place]]]:
    """What they say -> rows that say the same of a curve at a month, or of two counts."""
    found: dict[str, dict[object, list[Place]]] = {one: {} for one in IN_TURN}
    for place in could_be:
        by_month = masked.behind[place[0]][place[1]].by_month
        names = tuple(map(masked.ledger.name_of, masked.behind[place[0]][place[1]].gives_away))
        key = (by_month.curve, by_month.month) if by_month else names
        found[says[place]].setdefault(key, []).append(place)
    return {one: list(rows.values()) for one, rows in found.items()}


def _withheld(masked: Masked, smallest_cell: int) -> dict[Place, str]:
    """The rows that could be told roundly -> what they say, the headlines first.

    None of few patients, nor of all but few: bounds tell of one with the event, and ranges that hold 1 say little.
    """
    ledger, n_patients = masked.ledger, masked.ledger.population.n_patients
    gone, found = ledger.withheld(masked.protection.withheld), {}
    for name, rows in masked.behind.items():
        headline = masked.whole.table(name).get("headline", pd.Series(True, range(len(rows)))).astype(bool)
        for at, one in enumerate(rows):
            if one is None or not (one.by_month or one.share):
                continue
            if all(ledger.is_told(counted, gone) for counted in one.gives_away):
                continue
            if any(ledger.name_of(counted) is None for counted in one.gives_away):
                continue
            parts = [one.gives_away[-1].members, *_without_event(one, ledger.population)]
            if min(map(n_patients, parts)) >= smallest_cell:
                found[name, at] = one.by_month.says if one.by_month else SHARE, not headline.iloc[at]
    return {place: says for place, (says, _) in sorted(found.items(), key=lambda row: row[1][1])}


def _without_event(behind: Behind, population: Population) -> list[np.ndarray]:
    """The sites, or patients, of a share that do not have the event."""
    if not behind.share:
        return []
    whole, events = behind.gives_away
    return [whole.members & ~(population.patients_of(events.members) if events.unit == "patients" else events.members)]


def _told(masked: Masked, coarse: Mapping[Place, Grid], smallest_cell: int) -> Masked:
    ledger = replace(masked.ledger, coarse=dict(coarse))
    material, withheld = masked_material(masked.whole, masked.behind, ledger, masked.protection, smallest_cell)
    return replace(masked, material=material, ledger=ledger, withheld=withheld)
