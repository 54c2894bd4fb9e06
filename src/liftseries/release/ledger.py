"""The ledger: for every count that is printed, whom it counts; for every estimate, the counts that it gives away.

A count is a set of sites and a unit, sites or their patients. Two cells with the same set and unit are the same count,
however far apart they are printed. What is not in the ledger is not printed: the masking withholds a cell without an
entry, and one whose entry does not come to the printed value.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from liftseries.disclosure.counts import Count
from liftseries.disclosure.declared import Unit
from liftseries.models.shared.population import Population

Place = tuple[str, int]  # a table and a row of it
NEAREST = 2  # counts round a group that are withheld with it, where withholding fewer did not hide it


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
    recorded : it only says of whom something is on record, not what; see `Ledger.add`
    """

    members: np.ndarray
    unit: Unit
    value: int
    n_patients: int
    recorded: bool


@dataclass
class Ledger:
    """Every count of the bundle.

    Attributes
    ----------
    population
    entries : name -> entry; equal counts have one name
    seen_in : name -> what its count is seen side by side with: `Count.table`
    cells : table, row and column -> name of the count that is printed there
    given_away : table and row -> names of the counts that the row's other numbers give away
    rests_on : table and row -> groups that the row's other numbers rest on, each with its number of patients
    known : names of counts that are told whatever else is withheld, by rows that leave the house
    """

    population: Population
    entries: dict[str, Entry] = field(default_factory=dict)
    seen_in: dict[str, set[str]] = field(default_factory=dict)
    cells: dict[tuple[str, int, str], str] = field(default_factory=dict)
    given_away: dict[Place, set[str]] = field(default_factory=dict)
    rests_on: dict[Place, list[int]] = field(default_factory=dict)
    known: set[str] = field(default_factory=set)
    _names: dict[tuple[str, bytes], str] = field(default_factory=dict)

    def add(self, members: np.ndarray, unit: Unit = "sites", recorded: bool = False) -> str:
        """The name of a count; a new one where there is none yet.

        Parameters
        ----------
        members : shape (n_sites,), true/false
        unit
        recorded : whether it says only of whom something was recorded (a value known, a value missing)
            How many values are missing is no attribute of a person: such a count is not protected for its own sake,
            though it takes part in what can be worked out. A set that also comes up as anything else is protected.
        """
        members = np.asarray(members, bool)
        if unit == "patients":
            members = self.population.patients_of(members)
        key = unit, np.packbits(members).tobytes()
        name = self._names.setdefault(key, f"{unit} {len(self._names)}")
        if name not in self.entries:
            n_patients = self.population.n_patients(members)
            value = n_patients if unit == "patients" else int(members.sum())
            self.entries[name] = Entry(members, unit, value, n_patients, recorded)
        elif self.entries[name].recorded and not recorded:
            self.entries[name] = Entry(**{**vars(self.entries[name]), "recorded": False})
        return name

    def cell(
        self, place: Place, column: str, tables: Sequence[str], members, unit: Unit = "sites", recorded: bool = False
    ) -> None:
        """Enters the count that is printed in a cell, and in which tables of the reader's it is seen."""
        name = self.add(members, unit, recorded)
        self.cells[(*place, column)] = name
        self.seen_in.setdefault(name, set()).update(tables)

    def gives_away(
        self, place: Place, tables: Sequence[str], members, unit: Unit = "sites", recorded: bool = False
    ) -> None:
        """Enters a count that can be worked out from a row's other numbers: they go where it goes."""
        name = self.add(members, unit, recorded)
        self.given_away.setdefault(place, set()).add(name)
        self.seen_in.setdefault(name, set()).update(tables)

    def rests(self, place: Place, members: np.ndarray) -> None:
        """Enters a group that a row's other numbers rest on: they go where it holds few patients."""
        self.rests_on.setdefault(place, []).append(self.population.n_patients(members))

    def tells(self, table: str, members: np.ndarray, unit: Unit = "sites") -> None:
        """Enters a count that rows tell which leave the house: it is known."""
        name = self.add(members, unit)
        self.known.add(name)
        self.seen_in.setdefault(name, set()).add(table)

    def disagreements(self, tables: dict[str, pd.DataFrame]) -> list[tuple[str, int, str]]:
        """Cells whose entry does not come to the value that stands there."""
        wrong = []
        for (table, row, column), name in self.cells.items():
            printed = tables[table][column].iloc[row]
            if pd.notna(printed) and int(printed) != self.entries[name].value:
                wrong.append((table, row, column))
        return wrong

    def counts(self, smallest_cell: int, unprinted: Iterable[str] = ()) -> list[Count]:
        """All counts as the protection takes them, and those that nobody prints but anybody can work out from two.

        A small count that only says what is on record is not protected: it goes in as known, as what rows tell does.

        Parameters
        ----------
        smallest_cell
        unprinted : names of counts that are withheld beforehand
        """
        unprinted = set(unprinted) - self.known
        printed = [
            Count(
                name=f"{name} | {table}",
                members=entry.members,
                unit=entry.unit,
                published=name not in unprinted,
                fixed=name in self.known
                or (name not in unprinted and entry.recorded and entry.n_patients < smallest_cell),
                table=table,
            )
            for name, entry in self.entries.items()
            for table in sorted(self.seen_in[name])
        ]
        return printed + small_differences(self, smallest_cell)

    def next_to(self, members: np.ndarray, unit: Unit, shown: Iterable[str]) -> set[str]:
        """What to withhold so that a small group is hidden: what it is taken off from, and what is left then.

        Of the shown counts that hold the group the smallest ones, and those that would hold it if it were added.
        """
        members = np.asarray(members, bool)
        near = [(int(self.entries[name].members.sum()), name) for name in shown if self.entries[name].unit == unit]
        around = sorted(one for one in near if not (members & ~self.entries[one[1]].members).any())
        left = {
            name
            for _, name in near
            if not (self.entries[name].members & members).any()
            and self._is_counted(self.entries[name].members | members, unit)
        }
        everyone = self.population.n_sites
        return left | {name for size, name in around[:NEAREST] if size < everyone}

    def beside_their_sites(self, smallest_cell: int) -> set[str]:
        """Counts of patients that stand so close to the count of their sites that few have more than one.

        27 sites with an infection in 25 patients tell of one or two patients with several.
        """
        found = set()
        for entry in self.entries.values():
            if entry.unit == "sites" and 1 <= entry.value - entry.n_patients < smallest_cell:
                patients = self.population.patients_of(entry.members)
                found.add(self._names.get(("patients", np.packbits(patients).tobytes())))
        return found - {None} - self.known

    def _is_counted(self, members: np.ndarray, unit: Unit) -> bool:
        return (unit, np.packbits(members).tobytes()) in self._names

    def withheld(self, counts: Iterable[str]) -> set[str]:
        """The names here of counts that the protection withholds."""
        return {count.rpartition(" | ")[0] for count in counts}


def small_differences(ledger: Ledger, smallest_cell: int) -> list[Count]:
    """What is left of a count when another that it contains is taken off, where that is few patients.

    647 sites of which 644 were followed tell of three that were not, though nobody prints a three. Two counts that only
    say of whom something was recorded differ by values missing, which are not protected.
    """
    found: dict[tuple[str, bytes], Count] = {}
    missing = ledger.population.some_value_missing
    for unit in ("sites", "patients"):
        names = [name for name, entry in ledger.entries.items() if entry.unit == unit]
        if not names:
            continue
        entries = [ledger.entries[name] for name in names]
        sets = np.array([entry.members for entry in entries])
        sizes = sets.sum(axis=1)
        common = sets.astype(np.int32) @ sets.T.astype(np.int32)
        inside, outside = np.nonzero((common == sizes[:, None]) & (sizes[:, None] < sizes[None, :]))
        for small, large in zip(inside, outside, strict=True):
            rest = sets[large] & ~sets[small]
            if ledger.population.n_patients(rest) >= smallest_cell:
                continue
            if entries[small].recorded and entries[large].recorded and not (rest & ~missing).any():
                continue
            key = unit, np.packbits(rest).tobytes()
            if key not in ledger._names:
                found.setdefault(key, _difference(ledger, len(found), names[small], names[large], rest, unit))
    return list(found.values())


def _difference(ledger: Ledger, number: int, small: str, large: str, rest: np.ndarray, unit: Unit) -> Count:
    """What is left of a count when another is taken off; in a table of the larger one, of both where there is one."""
    tables = sorted(ledger.seen_in[small] & ledger.seen_in[large]) or sorted(ledger.seen_in[large])
    return Count(f"difference {number} of {unit}", rest, unit, published=False, table=tables[0])
