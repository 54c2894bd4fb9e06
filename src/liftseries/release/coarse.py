"""Shares and survival told roundly, without their counts, where these must be withheld.

*Situation:* that 2 failed between month 12 and 36 is told by the numbers failed by each, so one of them goes, and with
it went all estimates of that month; a count that goes for the sake of others took its share along. *Choice:* they are
told as multiples of 1, 2 or 5 per cent, months in function as whole months, the finest of which the attack recovers
nothing whichever multiple it were (`disclosure.coarser`). *Rival:* to withhold them. *Consequence:* the dearest leave
first. Their intervals do not leave: of patients with a site each, how wide one is tells how many have the event.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from liftseries.disclosure.coarser import Telling
from liftseries.disclosure.declared import Behind, Counted
from liftseries.disclosure.parts import Together
from liftseries.models.shared.population import Population
from liftseries.release.cells import MONTHS, Cell, cells_of_month, cells_of_share
from liftseries.release.check import Known, known_of, told_roundly
from liftseries.release.coarse_effects import effects_told, effects_withheld
from liftseries.release.entries import RESULTS, Behinds
from liftseries.release.ledger import Place
from liftseries.release.masking import Masked, masked_material, tables_of

SHARE = "share"
IN_TURN = (SHARE, "survival", "failed", MONTHS)  # what estimates say, the dearest first
UNITS = (0.01, 0.02, 0.05)  # of which shares are told as multiples
NEAR = 1e-6
NUMBERS = ["estimate", "survival", "conf_low", "conf_high"]
Coarse = Mapping[Place, float]
Tables = Mapping[str, pd.DataFrame]


def with_coarse(masked: Masked, smallest_cell: int) -> Masked:
    """The same, and shares and estimates by month told roundly as far as no count of few patients can be told.

    Nothing of a series that tells its headline's counts alone: there nearly every count hangs on another.
    """
    if masked.protection.intervals.empty:
        return masked
    places = _withheld(masked, smallest_cell)
    known = known_of(masked, smallest_cell)
    telling = Telling(known.counts, masked.ledger.patients, known.values, known.needed)
    effects = effects_withheld(masked)
    could_be = [*places, *effects]
    printed = {unit: _numbers(_told(masked, dict.fromkeys(could_be, unit), smallest_cell)) for unit in UNITS}
    choice = _Choice(masked, smallest_cell, known, telling, printed, places)
    groups = _groups(masked, places)
    for says in IN_TURN:
        for unit in UNITS if says != MONTHS else UNITS[-1:]:
            for rows in groups[says]:
                choice.try_telling(rows, unit)
    masked = _told(masked, choice.told, smallest_cell)
    numbers = printed[UNITS[0]][RESULTS]["estimate"].iloc[[at for _, at in effects]].dropna()
    told = effects_told(masked, numbers, known, telling, smallest_cell)
    return _told(masked, choice.told | told, smallest_cell)


@dataclass
class _Choice:
    """What is told roundly so far.

    Attributes
    ----------
    masked, smallest_cell : what leaves, and k
    known, telling : what a reader has, and the attack on it with what is told roundly
    printed : unit -> tables with all rows that could be told roundly as its multiples
    places : those rows
    told : those that are, with their unit
    """

    masked: Masked
    smallest_cell: int
    known: Known
    telling: Telling
    printed: Mapping[float, Tables]
    places: Collection[Place]
    told: dict[Place, float] = field(default_factory=dict)
    _fewest: dict[str, float] = field(default_factory=dict)

    def try_telling(self, rows: Sequence[Place], unit: float) -> None:
        """Tells rows that say the same in this unit if none of the numbers that they could be gives a count away."""
        mine = [row for row in rows if row not in self.told]
        if not mine or unit * self._fewest_of(self.masked.behind[rows[0][0]][rows[0][1]]) < self.smallest_cell - 1:
            return  # a multiple that is fewer sites wide hardly ever leaves 1 to k - 1 open
        coarse, ledger = self.told | dict.fromkeys(mine, unit), self.masked.ledger
        behind = self._beside(mine[0])
        tables = {name: self._shown(name, coarse) for name in behind}
        cells = list(self._cells(mine, unit, tables, behind, coarse))
        cells = [*cells[:1], *reversed(cells[1:])]  # the outer ones first, as they are the closest
        if self._may_say_none_or_all(mine[0], cells):
            return
        if not self.telling.leaves_open(self.known.in_counts(told) for _, told in cells):
            return
        for of, ranges in told_roundly(tables, behind, ledger, coarse, self.smallest_cell):
            if set(of) & set(mine) and self._hold(ranges):
                took = self.telling.takes(self.known.in_counts(ranges))
                self.told |= dict.fromkeys(set(of) & set(mine), unit) if took else {}

    def _fewest_of(self, behind: Behind) -> float:
        """Of how many sites a share is, or how many a curve follows, at the least by what is told."""
        counted = Counted(behind.by_month.followed) if behind.by_month else behind.gives_away[0]
        name = self.masked.ledger.name_of(counted)
        if name is None:
            return float(counted.members.sum())
        if name not in self._fewest:
            self._fewest[name] = self._range_of(name)[0]
        return self._fewest[name]

    def _may_say_none_or_all(self, row: Place, cells: Sequence[Cell]) -> bool:
        """Whether a share could be told as none or all that is neither."""
        by_month = self.masked.behind[row[0]][row[1]].by_month
        is_share = by_month is None or by_month.says != MONTHS
        return is_share and any(min(number, 1 - number) < NEAR for number, _ in cells)

    def _hold(self, ranges: Sequence[Together]) -> bool:
        """Whether ranges are true of the series: what an estimate of another kind tells would be none of these."""
        entries = self.masked.ledger.entries
        values = [sum(times * entries[name].value for name, times in one.of.items()) for one in ranges]
        return all(one.lowest - NEAR <= n <= one.highest + NEAR for one, n in zip(ranges, values, strict=True))

    def _cells(
        self, rows: Sequence[Place], unit: float, tables: Tables, behind: Behinds, coarse: Coarse
    ) -> Iterator[Cell]:
        ledger, k = self.masked.ledger, self.smallest_cell
        if behind[rows[0][0]][rows[0][1]].by_month is None:
            return cells_of_share(rows[0], unit, behind, ledger, self._range_of, k)
        return cells_of_month(rows, unit, tables, behind, ledger, coarse, self._range_of, k)

    def _range_of(self, name: str) -> tuple[float, float]:
        return self.telling.range_of(self.known.names[name])

    def _beside(self, row: Place) -> Behinds:
        """Who stands behind this row and, of a curve, those of the same one; None behind all others."""
        one, all_of = self.masked.behind[row[0]][row[1]], self.masked.behind
        if one.by_month is None:
            return {row[0]: [other if other is one else None for other in all_of[row[0]]]}
        followed = one.by_month.followed
        return {
            name: [
                other if other and other.by_month and np.array_equal(other.by_month.followed, followed) else None
                for other in rows
            ]
            for name, rows in all_of.items()
            if any(other and other.by_month for other in rows)
        }

    def _shown(self, name: str, told: Coarse) -> pd.DataFrame:
        """A table with these rows as they are told, and the others that could be told roundly empty."""
        table = self.printed[UNITS[0]][name].copy()
        table.loc[[at for of, at in self.places if of == name]] = math.nan
        for (_, at), unit in ((row, unit) for row, unit in told.items() if row[0] == name):
            table.loc[at] = self.printed[unit][name].loc[at]
        return table


def _groups(masked: Masked, places: Mapping[Place, str]) -> dict[str, list[list[Place]]]:
    """What they say -> rows that say the same of a curve at a month; a share is alone."""
    found: dict[str, dict[object, list[Place]]] = {says: {} for says in IN_TURN}
    for place, says in places.items():
        by_month = masked.behind[place[0]][place[1]].by_month
        key = (by_month.followed.tobytes(), by_month.month) if by_month else place
        found[says].setdefault(key, []).append(place)
    return {says: list(rows.values()) for says, rows in found.items()}


def _numbers(masked: Masked) -> dict[str, pd.DataFrame]:
    """Estimates and intervals of the tables that leave."""
    tables = tables_of(masked.material).items()
    return {name: table[[column for column in NUMBERS if column in table]].astype(float) for name, table in tables}


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


def _told(masked: Masked, coarse: Coarse, smallest_cell: int) -> Masked:
    ledger = replace(masked.ledger, coarse=dict(coarse))
    material, withheld = masked_material(masked.whole, masked.behind, ledger, masked.protection, smallest_cell)
    return replace(masked, material=material, ledger=ledger, withheld=withheld)
