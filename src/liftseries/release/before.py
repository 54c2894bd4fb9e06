"""What earlier releases told: it is known to every reader, and the next release is attacked together with it.

    released/NNNN.csv                each count that a release told: its set by a symbol, its unit, value, k; then each
                                     number told roundly: its row, its grid
    released/house/NNNN.csv          which sites stand behind each symbol; it never leaves the house
    released/house/NNNN.rounded.csv  of what sets each number told roundly is, and within what limits it says that
                                     counts lie; nor does this
    released/house/NNNN.tables.csv   what each count was seen side by side with; nor this

A site is known by its key and by all that is recorded of its patient: a corrected patient is another one, so that a
number that changed with few corrected patients tells of them as one that grew by few new ones does.
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
TABLES, IN_TABLES = "tables", ("set", "unit", "table")
RANGES = ("row", "range", "set", "unit", "times", "lowest", "highest")


@dataclass(frozen=True)
class House:
    """Whom a release told of.

    Attributes
    ----------
    sets : symbol -> shape (n_sites,), true/false
    ranges : one row a set of each range, `RANGES`: lowest ≤ the sum of its sets' counts, each so many times, ≤ highest
        `row` is the symbol of a number told roundly; without a `range`, its row says of what sets the number is.
    tables : `IN_TABLES`, what each count of a set is seen side by side with: `Count.table`
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
    """

    number: float
    grid: Grid
    sets: list[np.ndarray]


@dataclass(frozen=True)
class Before:
    """Earlier releases.

    Attributes
    ----------
    patients : shape (n_sites,), the patient of each site of this run, and then of each that is in earlier ones alone
    counts : of those releases, all known but for those behind what they told roundly
    persons : shape (n_sites,), the same of whom a corrected patient is no other one
    told : what they told roundly, of these counts
    roundly : row -> its numbers that were told roundly
    """

    patients: np.ndarray
    counts: list[Count]
    persons: np.ndarray
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
    told = told[told["run"].ne(run) & told["form"].isin([EXACT, ROUNDED])]
    if told.empty:
        return None
    exact, roundly = (told[told["form"].eq(form)] for form in (EXACT, ROUNDED))
    union = _Union.of(_house(folder, told["number"], ""), population)
    ranges = _house(folder, roundly["number"], f".{ROUNDED}", RANGES)
    within = ranges[ranges["range"].notna()]
    counts = [union.count(row.number, row.set, row.unit, f"release {row.number}") for row in exact.itertuples()]
    counts += _beside(union, counts, within, _house(folder, roundly["number"], f".{TABLES}", IN_TABLES))
    numbers: dict[str, list[Roundly]] = {}
    sets_of = ranges[ranges["range"].isna()].groupby(["number", "row"])["set"]
    for row in roundly.itertuples():
        sets = [union.members(row.number, name) for name in sets_of.get_group((row.number, row.set))]
        numbers.setdefault(row.row, []).append(Roundly(float(row.value), Grid(row.step, row.first), sets))
    return Before(union.patients, counts, union.persons, list(_told(within, counts)), numbers)


@dataclass(frozen=True)
class _Union:
    """The sites of a run, then those of earlier releases alone; and the sets of those releases."""

    patients: np.ndarray
    persons: np.ndarray
    sets: dict[tuple[str, str], np.ndarray]

    @classmethod
    def of(cls, house: pd.DataFrame, population: Population) -> _Union:
        """Of `number, set, site`."""
        keys = keys_of(population)
        here = set(keys)
        gone = [key for key in dict.fromkeys(house["site"]) if key not in here]
        every = pd.Index([*keys, *gone], dtype=object)
        of_patient = np.array([key.partition(":")[2] for key in every], object)
        alone, _ = pd.factorize(of_patient[len(keys) :])
        patients = np.concatenate([population.patients, alone + population.patients.max(initial=-1) + 1]).astype(int)
        persons, _ = pd.factorize(np.array([patient.rpartition(":")[0] for patient in of_patient], object))
        sets = {group: every.isin(set(sites)) for group, sites in house.groupby(["number", "set"])["site"]}
        return cls(patients, persons, sets)

    def members(self, number: str, name: str) -> np.ndarray:
        """A set; one of nobody has no row."""
        return self.sets.get((number, name), np.zeros(len(self.patients), bool))

    def count(self, number: str, name: str, unit: str, table: str, is_known: bool = True) -> Count:
        """A count of a set as it is seen in a table."""
        members = self.members(number, name)
        return Count(
            f"{number} {name} {unit} | {table}", members, unit, published=is_known, fixed=is_known, table=table
        )


def _beside(union: _Union, known: Sequence[Count], within: pd.DataFrame, seen_in: pd.DataFrame) -> Iterator[Count]:
    """The counts behind numbers told roundly that are not known, and beside them those that are, table by table."""
    are_known = {_base(count) for count in known}
    names = (f"{row.number} {row.set} {row.unit}" for row in within.itertuples())
    unknown = set(names) - are_known
    seen_in = seen_in.assign(base=[f"{row.number} {row.set} {row.unit}" for row in seen_in.itertuples()])
    for (number, table), rows in seen_in[seen_in["base"].isin(unknown | are_known)].groupby(["number", "table"]):
        if not unknown.isdisjoint(rows["base"]):
            for row in rows.itertuples():
                yield union.count(number, row.set, row.unit, f"release {number}, {table}", row.base in are_known)


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
    if len(of.ranges):
        write_csv(folder / FOLDER / HOUSE / f"{number}.{ROUNDED}.csv", of.ranges)
        write_csv(folder / FOLDER / HOUSE / f"{number}.{TABLES}.csv", of.tables)
    write_csv(folder / FOLDER / f"{number}.csv", told)
