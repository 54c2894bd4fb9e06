"""What earlier releases told: their counts are known to every reader, and the next release is attacked with them.

    released/NNNN.csv            each count that a release told: its set by a symbol, its unit, value, k
    released/house/NNNN.csv      which sites stand behind each symbol; it never leaves the house

A site is known by its key and by all that is recorded of its patient: a corrected patient is another one, so that a
number that changed with few corrected patients tells of them as one that grew by few new ones does.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from itertools import repeat
from pathlib import Path

import numpy as np
import pandas as pd

from liftseries.base.errors import Problem, StudyError
from liftseries.base.outputs import no_formula, write_csv, written_whole
from liftseries.disclosure.counts import Count
from liftseries.models.shared.population import Population

FOLDER, HOUSE, RECORD = "released", "house", "told.csv"
COLUMNS = ("set", "unit", "form", "value", "smallest_cell", "rows", "run")


@dataclass(frozen=True)
class Before:
    """Earlier releases.

    Attributes
    ----------
    patients : shape (n_sites,), the patient of each site of this run, and then of each that is in earlier ones alone
    counts : of those releases, all known
    """

    patients: np.ndarray
    counts: list[Count]


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
    told = told[told["run"].ne(run) & told["form"].eq("exact")]
    if told.empty:
        return None
    house = pd.concat(_house(folder, number) for number in dict.fromkeys(told["number"]))
    keys = keys_of(population)
    here = set(keys)
    gone = [key for key in dict.fromkeys(house["site"]) if key not in here]
    every = pd.Index([*keys, *gone], dtype=object)
    alone, _ = pd.factorize(np.array([key.partition(":")[2] for key in gone], object))
    patients = np.concatenate([population.patients, alone + population.patients.max(initial=-1) + 1]).astype(int)
    members = {group: every.isin(set(sites)) for group, sites in house.groupby(["number", "set"])["site"]}
    nobody = np.zeros(len(every), bool)
    counts = [
        Count(
            f"{row.number} {row.set}",
            members.get((row.number, row.set), nobody),
            row.unit,
            published=True,
            fixed=True,
            table=f"release {row.number}",
        )
        for row in told.itertuples()
    ]
    return Before(patients, counts)


def _house(folder: Path, number: str) -> pd.DataFrame:
    path = folder / FOLDER / HOUSE / f"{number}.csv"
    if not path.is_file():
        message = f"is lost: which sites stand behind what {FOLDER}/{number}.csv says was told. Put it back."
        raise StudyError([Problem(str(path), message)])
    return pd.read_csv(path, dtype=str).assign(number=number)


def record(folder: Path, told: pd.DataFrame, sets: dict[str, np.ndarray], population: Population) -> None:
    """Records a release under the next number."""
    number = f"{len(numbers_of(folder)) + 1:04d}"
    keys = keys_of(population)
    written = np.array([no_formula(key) for key in keys], object)
    house = folder / FOLDER / HOUSE / f"{number}.csv"
    # A row for each site of each set, millions: not by a data frame.
    with written_whole(house) as temporary, temporary.open("w", encoding="utf-8", newline="") as file:
        lines = csv.writer(file, lineterminator="\n")
        lines.writerow(("set", "site"))
        for name, members in sets.items():
            lines.writerows(zip(repeat(name), written[members]))
    write_csv(folder / FOLDER / f"{number}.csv", told)
