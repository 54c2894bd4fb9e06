"""The attack on what is about to leave: which counts of few patients can be worked out from all that is shown.

It takes what is printed from the masked tables, and knows nothing of how it was decided what to withhold.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from liftseries.base.remarks import WITHHELD_COUNT
from liftseries.disclosure.attack import told_apart
from liftseries.disclosure.counts import Count, set_of, value_of
from liftseries.disclosure.needs import Need, needs_of
from liftseries.disclosure.parts import Together, Value
from liftseries.disclosure.structure import structure_of
from liftseries.release.by_month import rows_by_month, told_by_month
from liftseries.release.digits import Grid
from liftseries.release.effects import told_effects
from liftseries.release.entries import Behinds
from liftseries.release.enumerated import enumerated
from liftseries.release.ledger import Ledger, Place
from liftseries.release.masking import Masked, tables_of
from liftseries.release.shares import told_shares


@dataclass(frozen=True)
class Attacked:
    """What an attack came to.

    Attributes
    ----------
    n_known : different counts that a reader has
    targets : one row a count of 1 to k - 1 patients: `name, value, lower, upper, recovered`
        Not recovered is one that can be 1, and k - 1; of k sites of few patients or more, one site more than it is.
        Then what curves and intervals tell of counts, see `enumerated`.
    """

    n_known: int
    targets: pd.DataFrame

    @property
    def recovered(self) -> list[str]:
        """The counts that a reader can tell."""
        return self.targets.loc[self.targets["recovered"].astype(bool), "name"].tolist()


@dataclass(frozen=True)
class Known:
    """What a reader has, and what must not be told from it.

    Attributes
    ----------
    counts : of the ledger
    values : by name, what is printed of each: see `disclosure.attack`
    needed : by name of a count of few patients, what it must be able to fall to and rise to: see `needs`
    """

    counts: list[Count]
    values: dict[str, Value]
    needed: dict[str, Need]

    @cached_property
    def names(self) -> dict[str, str]:
        """Name in the ledger -> a count of that name: seen in several tables it is any of them."""
        return {count.name.rpartition(" | ")[0]: count.name for count in self.counts}

    def in_counts(self, told: Iterable[Together]) -> list[Together]:
        """The same of counts, of names in the ledger."""
        return [replace(one, of={self.names[name]: times for name, times in one.of.items()}) for one in told]


def known_of(masked: Masked, smallest_cell: int) -> Known:
    """What the bundle prints, together with the counts that earlier releases told."""
    ledger, patients = masked.ledger, masked.ledger.patients
    counts = ledger.counts(smallest_cell)
    shown = shown_values(masked)
    for name, below in ledger.told_below.items():
        # Who knows that the lowest multiple of k is told that may be knows what the count is not below, too.
        if shown.get(name) == (0, below - 1) and ledger.entries[name].value >= below - smallest_cell:
            shown[name] = (below - smallest_cell, below - 1)
    many = ledger.withheld(masked.protection.told_as_many)
    shown |= dict.fromkeys(many - set(shown), (smallest_cell, math.inf))
    values: dict[str, Value] = {}
    for count in counts:
        values[count.name] = value_of(count, patients) if count.fixed else None
        if count.published and not count.fixed:
            values[count.name] = shown.get(count.name.rpartition(" | ")[0])
    least = {set_of(count): low for count in counts for low in _lowest(values[count.name])}
    group = {count.name: set_of(count) for count in counts}
    needed = {
        name: (max(low, least.get(group[name], low)), high)
        for name, (low, high) in needs_of(counts, patients, smallest_cell, ledger.left).items()
    }
    return Known(counts, values, needed)


def _lowest(value: Value) -> list[float]:
    """What a count is known not to be below, if that is known of it alone."""
    return [value[0]] if isinstance(value, tuple) else []


def leaves_open(masked: Masked, smallest_cell: int, tried: list[np.ndarray]) -> bool:
    """Whether nothing is recovered of the bundle, looked at briefly.

    Parameters
    ----------
    masked
    smallest_cell : k
    tried : as in `told_apart`, empty at first: what is found on the way answers the next bundle, too
    """
    known = known_of(masked, smallest_cell)
    if not tried:
        numbers = structure_of(known.counts, masked.ledger.patients).numbers
        tried.append(np.array([value_of(number.counts[0], masked.ledger.patients) for number in numbers], float))
    targets = _told_apart(masked, known, smallest_cell, tried, stop=True)
    return not targets["recovered"].any() and not enumerated(masked, smallest_cell)["recovered"].any()


def _told_apart(
    masked: Masked, known: Known, smallest_cell: int, *tried: list[np.ndarray], stop: bool = False
) -> pd.DataFrame:
    told = (one for _, of in all_told_roundly(masked, smallest_cell) for one in of)
    further = [*masked.ledger.told_before, *known.in_counts(told)]
    return told_apart(known.counts, masked.ledger.patients, known.values, known.needed, further, *tried, stop=stop)


def attacked(masked: Masked, smallest_cell: int) -> Attacked:
    """Attacks the bundle, together with what earlier releases told."""
    ledger, known = masked.ledger, known_of(masked, smallest_cell)
    targets = _told_apart(masked, known, smallest_cell)
    value = {count.name: value_of(count, ledger.patients) for count in known.counts if count.name in known.needed}
    targets.insert(1, "value", targets["name"].map(value))
    parts = [targets, enumerated(masked, smallest_cell)]
    targets = pd.concat([part for part in parts if len(part)], ignore_index=True) if any(map(len, parts)) else targets
    return Attacked(
        len({name.rpartition(" | ")[0] for name, value in known.values.items() if isinstance(value, int)}),
        targets,
    )


def all_told_roundly(masked: Masked, smallest_cell: int) -> list[tuple[list[Place], list[Together]]]:
    """What all that the bundle tells roundly tells of counts: the rows, and what they tell."""
    ledger = masked.ledger
    roundly = told_roundly(tables_of(masked.material), masked.behind, ledger, ledger.coarse, smallest_cell)
    return [*roundly, *told_effects(masked, smallest_cell)]


def told_roundly(
    tables: Mapping[str, pd.DataFrame],
    behind: Behinds,
    ledger: Ledger,
    coarse: Mapping[Place, Grid],
    smallest_cell: int,
) -> list[tuple[list[Place], list[Together]]]:
    """What rows that are told roundly tell of counts: the rows, and what they tell."""
    by_month = rows_by_month(tables, behind, coarse)
    return [
        *told_shares(tables, behind, ledger, coarse, smallest_cell),
        *told_by_month(by_month, ledger, smallest_cell),
    ]


def shown_values(masked: Masked) -> dict[str, int | tuple[int, int]]:
    """What is printed, or can be worked out from an estimate that is: name in the ledger -> value, or its range."""
    ledger, tables = masked.ledger, tables_of(masked.material)
    found: dict[str, int | tuple[int, int]] = {name: ledger.entries[name].value for name in ledger.known}
    for (table, row, column), name in ledger.cells.items():
        value = tables[table][column].iloc[row]
        if pd.notna(value) and value >= 0:
            found[name] = int(value)
        elif pd.notna(value) and value < WITHHELD_COUNT:
            found.setdefault(name, (0, -int(value) - 1))
    for table, rows in masked.behind.items():
        told = tables[table].get("estimate", tables[table].get("survival"))
        for row, behind in enumerate(rows if told is not None else ()):
            if behind is None or pd.isna(told.iloc[row]) or (table, row) in ledger.coarse:
                continue
            has_interval = tables[table][["conf_low", "conf_high"]].iloc[row].notna().any()
            for counted in (*behind.gives_away, *(behind.by_interval if has_interval else ())):
                if name := ledger.name_of(counted):
                    found[name] = ledger.entries[name].value
    return found
