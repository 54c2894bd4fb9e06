"""What earlier releases told: it is known to every reader, and the next release is attacked together with it.

    released/NNNN.csv                each count that a release told: its set by a symbol, its unit, value, k; then each
                                     number told roundly: its row, its grid
    released/house/NNNN.csv          which sites stand behind each symbol; it never leaves the house
    released/house/NNNN.rounded.csv  of what sets each number told roundly is, and within what limits counts are known
                                     to lie; nor does this
    released/house/NNNN.tables.csv   what each count, told or withheld, was seen side by side with; nor this

A count that was withheld stays one that must not be told. A patient stays the same person whatever is corrected, or
written down later, of them: sets of two releases differ by the persons who came into them and went out of them. That
something is recorded otherwise of a person is kept by a hash, since a number told roundly may change by it.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from itertools import repeat
from pathlib import Path

import numpy as np
import pandas as pd

from liftseries.base.errors import Problem, StudyError
from liftseries.base.outputs import no_formula, write_csv, written_whole
from liftseries.disclosure.counts import Count
from liftseries.disclosure.parts import Together
from liftseries.models.shared.population import Population
from liftseries.release.digits import Grid

FOLDER, HOUSE, RECORD = "released", "house", "told.csv"
OF_ROUNDED = ("row", "step", "first")  # what is empty of a count
COLUMNS = ("set", "row", "unit", "form", "value", "step", "first", "smallest_cell", "rows", "run")
EXACT, FEW, ROUNDED = "exact", "few", "rounded"
WITHHELD = "h"  # how symbols of sets begin whose counts were not told
TABLES, IN_TABLES = "tables", ("set", "unit", "table")
RANGES = ("row", "range", "set", "unit", "times", "lowest", "highest")


@dataclass(frozen=True)
class House:
    """Whom a release told of.

    Attributes
    ----------
    sets : symbol -> shape (n_sites,), true/false
    ranges : one row a set of each range, `RANGES`: lowest ≤ the sum of its sets' counts, each so many times, ≤ highest
        `row` is the symbol of the number told roundly that says so, empty where a count is told as few;
        without a `range`, its row says of what sets the number is.
    tables : `IN_TABLES`, what each count, told or withheld, is seen side by side with: `Count.table`
    """

    sets: dict[str, np.ndarray]
    ranges: pd.DataFrame
    tables: pd.DataFrame


@dataclass(frozen=True)
class Roundly:
    """A number that an earlier release told roundly.

    Attributes
    ----------
    number, grid
    sets : whom it is of, shape (n_sites,) each, true/false
    changed : of whom something else is recorded now, shape (n_sites,), true/false
    """

    number: float
    grid: Grid
    sets: list[np.ndarray]
    changed: np.ndarray


@dataclass(frozen=True)
class Before:
    """Earlier releases.

    Attributes
    ----------
    patients : shape (n_sites,), the patient of each site of this run, and then of each that is in earlier ones alone
    counts : of those releases, known where they told them
    told : within what limits they told that these counts, or several together, lie
    roundly : row -> its numbers that were told roundly
    """

    patients: np.ndarray
    counts: list[Count]
    told: list[Together]
    roundly: dict[str, list[Roundly]]


def keys_of(population: Population) -> np.ndarray:
    """The key of each site with its patient's, and a hash of what is recorded of the patient; shape (n_sites,)."""
    cases, visits = population.cases, population.visits
    if cases.empty:
        return np.zeros(0, object)
    of_site = _together(visits["site_id"], _joined(visits), "|") if len(visits) else {}
    rows = [row + of_site.get(site, "") for site, row in zip(cases["site_id"], _joined(cases), strict=True)]
    of_patient = _together(cases["patient_id"], rows, "#")
    hashes = {patient: sha256(text.encode()).hexdigest()[:16] for patient, text in of_patient.items()}
    named = zip(cases["site_id"], cases["patient_id"], strict=True)
    return np.array([f"{site}:{patient}:{hashes[patient]}" for site, patient in named], object)


def _joined(table: pd.DataFrame) -> list[str]:
    """The cells of each row as one text."""
    return list(map("|".join, zip(*(table[name].astype("string").fillna("") for name in table), strict=True)))


def _together(keys: Iterable, texts: Iterable[str], between: str) -> dict:
    """The texts of each key as one, in their order."""
    found: dict = {}
    for key, text in zip(keys, texts, strict=True):
        found.setdefault(key, []).append(text)
    return {key: between.join(of) for key, of in found.items()}


def numbers_of(folder: Path) -> list[str]:
    """The numbers of the releases that have been recorded."""
    return sorted(path.stem for path in (folder / FOLDER).glob("[0-9][0-9][0-9][0-9].csv"))


def told_before(folder: Path) -> pd.DataFrame:
    """What all releases told, with the number of each; empty where there was none."""
    tables = [pd.read_csv(folder / FOLDER / f"{number}.csv").assign(number=number) for number in numbers_of(folder)]
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=[*COLUMNS, "number"])


def read_before(folder: Path, population: Population, run: str = "") -> Before | None:
    """What releases of other runs told; None where there was none.

    Parameters
    ----------
    folder : of the study
    population : of this run
    run : the hash of this run's manifest: what it has told itself is no earlier release

    Raises
    ------
    StudyError
        The sets of a release are lost.
    """
    told = told_before(folder)
    told = told[told["run"].ne(run)]
    if told.empty:
        return None
    exact, roundly = (told[told["form"].eq(form)] for form in (EXACT, ROUNDED))
    union = _Union.of(_house(folder, told["number"], ""), population)
    # Releases made before withheld counts were recorded have no further files but of numbers told roundly.
    whole = {*roundly["number"], *(number for number, name in union.sets if name.startswith(WITHHELD))}
    ranges, tables = (
        _house(folder, sorted(whole), f".{of}", columns) for of, columns in ((ROUNDED, RANGES), (TABLES, IN_TABLES))
    )
    within = ranges[ranges["range"].notna()]
    counts = list(_counts(union, exact, tables))
    numbers: dict[str, list[Roundly]] = {}
    sets_of = ranges[ranges["range"].isna()].groupby(["number", "row"])["set"]
    for row in roundly.itertuples():
        sets = [union.members(row.number, name) for name in sets_of.get_group((row.number, row.set))]
        grid = Grid(row.step, row.first)
        numbers.setdefault(row.row, []).append(Roundly(float(row.value), grid, sets, union.changed[row.number]))
    return Before(union.patients, counts, list(_told(within, counts)), numbers)


@dataclass(frozen=True)
class _Union:
    """The sites of a run, then those of earlier releases alone; and the sets of those releases.

    Attributes
    ----------
    patients : shape (n_sites,)
    sets : release and symbol -> shape (n_sites,), true/false
    changed : release -> shape (n_sites,), of whose patient something else is recorded now
    """

    patients: np.ndarray
    sets: dict[tuple[str, str], np.ndarray]
    changed: dict[str, np.ndarray]

    @classmethod
    def of(cls, house: pd.DataFrame, population: Population) -> _Union:
        """Of `number, set, site`."""
        now = dict(map(_key_and_hash, keys_of(population)))
        codes, recorded = pd.factorize(house["site"])
        were = list(map(_key_and_hash, recorded))
        every = pd.Index([*now, *dict.fromkeys(key for key, _ in were if key not in now)], dtype=object)
        at = every.get_indexer([key for key, _ in were])
        is_other = np.array([now.get(key, hashed) != hashed for key, hashed in were], bool)

        def some(rows: np.ndarray) -> np.ndarray:
            members = np.zeros(len(every), bool)
            members[at[codes[rows]]] = True
            return members

        sets = {group: some(rows) for group, rows in house.groupby(["number", "set"]).indices.items()}
        of_release = house.groupby("number").indices.items()
        changed = {number: some(rows[is_other[codes[rows]]]) for number, rows in of_release}
        return cls(_patients_of(every, population), sets, changed)

    def members(self, number: str, name: str) -> np.ndarray:
        """A set; one of nobody has no row."""
        return self.sets.get((number, name), np.zeros(len(self.patients), bool))

    def count(self, number: str, name: str, unit: str, table: str, is_known: bool = True) -> Count:
        """A count of a set as it is seen in a table."""
        members = self.members(number, name)
        return Count(
            f"{number} {name} {unit} | {table}", members, unit, published=is_known, fixed=is_known, table=table
        )


def _key_and_hash(key: str) -> tuple[str, str]:
    """A site's key with its patient's, and the hash."""
    site, _, hashed = key.rpartition(":")
    return site, hashed


def _patients_of(every: Sequence[str], population: Population) -> np.ndarray:
    """The patient of each site, shape (n_sites,): those of the run as it numbers them, then others."""
    names, n_here = [key.partition(":")[2] for key in every], len(population.patients)
    numbers = dict(zip(names[:n_here], population.patients, strict=True))
    others = [name for name in dict.fromkeys(names[n_here:]) if name not in numbers]
    numbers |= {name: number for number, name in enumerate(others, population.patients.max(initial=-1) + 1)}
    return np.array([numbers[name] for name in names], int)


def _counts(union: _Union, exact: pd.DataFrame, tables: pd.DataFrame) -> Iterator[Count]:
    """The counts of releases, table by table; of those of which no tables are recorded, the ones that were told."""
    known = {(row.number, row.set, row.unit) for row in exact.itertuples()}
    for row in tables.itertuples():
        key = row.number, row.set, row.unit
        yield union.count(*key, f"release {row.number}, {row.table}", key in known)
    for key in sorted(known - {(row.number, row.set, row.unit) for row in tables.itertuples()}):
        yield union.count(*key, f"release {key[0]}")


def _base(count: Count) -> str:
    return count.name.rpartition(" | ")[0]


def _told(within: pd.DataFrame, counts: Sequence[Count]) -> Iterator[Together]:
    """What was told, range by range."""
    named = {_base(count): count.name for count in counts}
    for (number, _), rows in within.groupby(["number", "range"], sort=False):
        of = {named[f"{number} {row.set} {row.unit}"]: float(row.times) for row in rows.itertuples()}
        yield Together(of, float(rows["lowest"].iloc[0]), float(rows["highest"].iloc[0]))


def _house(folder: Path, numbers: Iterable[str], of: str, columns: Sequence[str] = ()) -> pd.DataFrame:
    """What the house alone has of some releases, with the number of each."""
    found = [pd.DataFrame(columns=[*columns, "number"], dtype=object)]
    for number in dict.fromkeys(numbers):
        path = folder / FOLDER / HOUSE / f"{number}{of}.csv"
        if not path.is_file():
            message = f"is lost: which sites stand behind what {FOLDER}/{number}.csv says was told. Put it back."
            raise StudyError([Problem(str(path), message)])
        found.append(pd.read_csv(path, dtype=str).assign(number=number))
    return pd.concat(found[1:] or found)


def record(folder: Path, told: pd.DataFrame, of: House, population: Population) -> None:
    """Records a release under the next number."""
    number = f"{len(numbers_of(folder)) + 1:04d}"
    keys = keys_of(population)
    written = np.array([no_formula(key) for key in keys], object)
    house = folder / FOLDER / HOUSE / f"{number}.csv"
    # A row for each site of each set, millions: not by a data frame.
    with written_whole(house) as temporary, temporary.open("w", encoding="utf-8", newline="") as file:
        lines = csv.writer(file, lineterminator="\n")
        lines.writerow(("set", "site"))
        for name, members in of.sets.items():
            lines.writerows(zip(repeat(name), written[members]))
    write_csv(folder / FOLDER / HOUSE / f"{number}.{ROUNDED}.csv", of.ranges)
    write_csv(folder / FOLDER / HOUSE / f"{number}.{TABLES}.csv", of.tables)
    write_csv(folder / FOLDER / f"{number}.csv", told)
