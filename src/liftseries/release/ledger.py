"""The ledger: for every count that is printed, whom it counts.

A count is a set of sites and a unit, sites or their patients. Two cells with the same set and unit are the same count,
however far apart they are printed. What is not in the ledger is not printed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from liftseries.disclosure.counts import Count, Set
from liftseries.disclosure.declared import Behind, Counted, Unit
from liftseries.disclosure.needs import Need
from liftseries.disclosure.parts import Together
from liftseries.models.shared.population import Population
from liftseries.release.before import Before
from liftseries.release.differences import small_differences
from liftseries.release.digits import Grid

Place = tuple[str, int]  # a table and a row of it
Key = tuple[str, bytes]


@dataclass(frozen=True)
class Entry:
    """A count: whom it counts.

    Attributes
    ----------
    members : shape (n_sites,), true/false
        Of a count of patients, all sites of the patients counted.
    unit : what is counted
    value : how many there are
    n_patients : how many patients stand behind it, whatever the unit
    """

    members: np.ndarray
    unit: Unit
    value: int
    n_patients: int


@dataclass
class Ledger:
    """Every count of the bundle.

    Attributes
    ----------
    population
    entries : name -> entry; equal counts have one name
    seen_in : name -> what its count is seen side by side with: `Count.table`
    cells : table, row and column -> name of the count that is printed there
    unprinted : names of counts that are printed nowhere and anybody can work out: of groups that are not told
    headline : names of counts of the headline estimates of the whole series: the last that go
    quoted : names of counts that those estimates are worked out from
    known : names of counts that are told whatever else is withheld, by rows that leave the house
    before : what earlier releases told; None where there was none
    told_below : name of a count that is withheld -> what it is told to be below all the same
    coarse : row -> how its estimate is told roundly, since the counts that it gives away are withheld
    left : what earlier releases alone leave of what counts need
    barred : names of counts that an earlier release told otherwise of nearly the same persons
    """

    population: Population
    entries: dict[str, Entry] = field(default_factory=dict)
    seen_in: dict[str, set[str]] = field(default_factory=dict)
    cells: dict[tuple[str, int, str], str] = field(default_factory=dict)
    unprinted: set[str] = field(default_factory=set)
    headline: set[str] = field(default_factory=set)
    quoted: set[str] = field(default_factory=set)
    known: set[str] = field(default_factory=set)
    before: Before | None = None
    told_below: dict[str, int] = field(default_factory=dict)
    coarse: dict[Place, Grid] = field(default_factory=dict)
    left: dict[Set, Need] = field(default_factory=dict)
    barred: frozenset[str] = frozenset()
    _names: dict[Key, str] = field(default_factory=dict)

    @property
    def patients(self) -> np.ndarray:
        """Which patient each site is of, those of earlier releases alone after those of this run."""
        return self.population.patients if self.before is None else self.before.patients

    @property
    def told_before(self) -> Sequence[Together]:
        """What earlier releases told roundly, of their counts."""
        return () if self.before is None else self.before.told

    def add(self, counted: Counted, tables: Iterable[str]) -> str:
        """The name of a count that is seen in these tables; a new one where there is none yet."""
        key, members = self._key(counted)
        name = self._names.setdefault(key, f"{counted.unit} {len(self._names)}")
        if name not in self.entries:
            n_patients = self.population.n_patients(members)
            value = n_patients if counted.unit == "patients" else int(members.sum())
            self.entries[name] = Entry(members, counted.unit, value, n_patients)
        self.seen_in.setdefault(name, set()).update(tables)
        self.unprinted.discard(name)
        return name

    def _key(self, counted: Counted) -> tuple[Key, np.ndarray]:
        members = np.asarray(counted.members, bool)
        if counted.unit == "patients":
            members = self.population.patients_of(members)
        return (counted.unit, np.packbits(members).tobytes()), members

    def enter(self, place: Place, behind: Behind, seen_in: Sequence[str]) -> None:
        """Enters the counts of a row, and those that its other numbers are exact functions of."""
        for column, counted in behind.counts.items():
            self.cells[(*place, column)] = self.add(counted, seen_in)
        for counted in (*behind.gives_away, *behind.by_interval):
            self.add(counted, seen_in)

    def leaves_unprinted(self, counted: Counted, seen_in: Iterable[str]) -> None:
        """Enters a count that is printed nowhere, of a group that is not told apart."""
        if self._key(counted)[0] not in self._names:
            self.unprinted.add(self.add(counted, seen_in))

    def tells(self, table: str, members: np.ndarray, unit: Unit = "sites") -> None:
        """Enters a count that rows tell which leave the house: it is known."""
        self.known.add(self.add(Counted(members, unit), [table]))

    def name_of(self, counted: Counted) -> str | None:
        """The name of a count; None where it is not here."""
        return self._names.get(self._key(counted)[0])

    def is_told(self, counted: Counted, gone: set[str]) -> bool:
        """Whether a reader has this count from the core."""
        name = self.name_of(counted)
        return name is not None and name not in self.unprinted and name not in gone

    def disagreements(self, tables: dict[str, pd.DataFrame]) -> list[tuple[str, int, str]]:
        """Cells whose entry does not come to the value that stands there."""
        wrong = []
        for (table, row, column), name in self.cells.items():
            printed = tables[table][column].iloc[row]
            if pd.notna(printed) and int(printed) != self.entries[name].value:
                wrong.append((table, row, column))
        return wrong

    def counts(self, smallest_cell: int) -> list[Count]:
        """All counts as the protection takes them, and those that nobody prints but anybody can work out from two."""
        printed = [
            Count(
                f"{name} | {table}",
                self.with_earlier(entry.members),
                entry.unit,
                published=name not in self.unprinted,
                fixed=name in self.known,
                table=table,
            )
            for name, entry in self.entries.items()
            for table in sorted(self.seen_in[name])
        ]
        printed += self.before.counts if self.before else []
        return printed + small_differences(printed, self.patients, smallest_cell)

    def with_earlier(self, members: np.ndarray) -> np.ndarray:
        """Over the sites of earlier releases, too, of which none is among these."""
        return np.concatenate([members, np.zeros(len(self.patients) - len(members), bool)])

    def withheld(self, counts: Iterable[str]) -> set[str]:
        """The names here of counts that the protection withholds."""
        return {count.rpartition(" | ")[0] for count in counts}
