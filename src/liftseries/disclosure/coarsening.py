"""Coarsened tables: which columns to coarsen until at least k patients share every record, and the tables then.

*Information lost* is entropy: the bits that tell a column's values apart, less those that still do when it is
coarsened, summed over its cells and counted for each patient (de Waal and Willenborg 1999, Information loss through
global recoding and local suppression, use the same; named from memory). Of all coarsenings that leave few enough
patients in classes below k, the one that loses least is taken.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.disclosure.anonymity import (
    class_sizes,
    codes,
    patient_classes,
    patients_below,
    quasi_identifiers,
    record_classes,
    smallest_class,
)
from liftseries.disclosure.ladders import ladder
from liftseries.study.schema import Table

MOST_EMPTIED = 0.05  # share of the patients whose values may be emptied rather than all columns coarsened further
MOST_LOOKED_AT = 5000  # coarsenings; a study of the usual columns has fewer answers
NO_BITS = 1e-12  # below this a difference of entropies is rounding
AS_IT_IS = "as it is"

Levels = tuple[int, ...]  # a column each: 0 as it is, 1 its first rung, …


@dataclass(frozen=True)
class Coarsened:
    """What may leave the house of the single rows, and how it came about.

    Attributes
    ----------
    tables : patients and sites
        Fresh running numbers in random order for keys; text bands; neither measurements nor outcomes.
    columns : one row a column: table, column, holds, bits_lost
    advice : one row a coarsened column, the most worth while first
        rank, table, column, to, bits_lost; patients_freed: who would be in classes below k again if this column
        alone stayed as it is; freed_per_bit, which ranks; freed_alone: who would leave them by this one alone
    k : patients that have to share a record
    smallest_class : patients that do share the rarest record; 0 where no patient is left
    n_patients : patients that came in
    n_emptied : patients whose quasi-identifiers were all emptied, since no k of them shared a record
    n_left_out : patients who are not in the tables, since not even the emptied records were k alike
    classes : shape (n_patients,), by patient_id: equal where the released records are, -1 where left out
    records : patients and sites under their own keys, as `tables` tells of them
        For counting only, like `classes`; neither leaves the house.
    """

    tables: dict[str, pd.DataFrame]
    columns: pd.DataFrame
    advice: pd.DataFrame
    k: int
    smallest_class: int
    n_patients: int
    n_emptied: int
    n_left_out: int
    classes: pd.Series
    records: dict[str, pd.DataFrame]


class Lattice:
    """Every way to coarsen some columns, and what each costs and frees."""

    def __init__(self, patients: pd.DataFrame, sites: pd.DataFrame, of_patient: Sequence[str], of_site: Sequence[str]):
        self.columns = [*(("patients", name) for name in of_patient), *(("sites", name) for name in of_site)]
        self.top: Levels = tuple(len(ladder(name)) for _, name in self.columns)
        self._patient = pd.Index(patients["patient_id"]).get_indexer(sites["patient_id"])
        self._n_sites, self._n_patients = len(sites), len(patients)
        frames = {"patients": patients, "sites": sites}
        self._codes = [[codes(column) for column in _coarsenings(frames[table][name])] for table, name in self.columns]
        self._bits = [
            [len(code) * (_entropy(ladder_codes[0]) - _entropy(code)) / max(len(patients), 1) for code in ladder_codes]
            for ladder_codes in self._codes
        ]

    def classes(self, levels: Levels) -> np.ndarray:
        """The classes of the patients, shape (n_patients,)."""
        parts = {"patients": [np.zeros(self._n_patients, int)], "sites": [np.zeros(self._n_sites, int)]}
        for (table, _), ladder_codes, level in zip(self.columns, self._codes, levels, strict=True):
            parts[table].append(ladder_codes[level])
        return record_classes(np.column_stack(parts["patients"]), np.column_stack(parts["sites"]), self._patient)

    def below(self, levels: Levels, k: int) -> int:
        """Patients in classes of fewer than k."""
        return patients_below(self.classes(levels), k)

    def bits_lost(self, levels: Levels) -> float:
        """Information lost, bits for each patient."""
        return float(sum(bits[level] for bits, level in zip(self._bits, levels, strict=True)))

    def holds(self, column: int, level: int) -> str:
        """What a column holds at a level, in words."""
        return ladder(self.columns[column][1])[level - 1].holds if level else AS_IT_IS


def coarsened_tables(
    tables: Mapping[str, pd.DataFrame],
    schema: Mapping[str, Table],
    k: int,
    *,
    seed: int = 0,
    carry: Sequence[str] = (),
    most_emptied: float = MOST_EMPTIED,
) -> Coarsened:
    """The quasi-identifiers of patients and sites, coarse enough that at least k patients share every record.

    Neither measurements nor outcomes nor the logs go along. A measurement in tenths of a millimetre, a visit to
    the tenth of a month or a drilling log is nearly unique, so whoever has a radiograph or a chart finds the row
    again; and a table with outcomes would let anyone count the small cells that are suppressed elsewhere. A column
    named in `carry` goes along and counts as a quasi-identifier does. Who needs rows to compute with takes the
    synthetic twin.

    Parameters
    ----------
    tables : patients and sites, as intake gives them
    schema : says by `identifies` which columns are quasi-identifiers; `direct` ones never go along
    k : patients that have to share a record, at least 1
    seed : of the random order of the rows
    carry : more columns of either table
    most_emptied : share of the patients up to which the rarest are emptied rather than all coarsened
    """
    patients, sites = tables["patients"].reset_index(drop=True), tables["sites"].reset_index(drop=True)
    named = {
        name: [
            column
            for column in schema[name].columns
            if column in tables[name] and (column in quasi_identifiers(schema[name]) or column in carry)
        ]
        for name in ("patients", "sites")
    }
    lattice = Lattice(patients, sites, named["patients"], named["sites"])
    levels = search(lattice, k, int(most_emptied * len(patients)))
    kept = {"patients": {}, "sites": {}}
    for (table, name), level in zip(lattice.columns, levels, strict=True):
        if level < len(ladder(name)):
            kept[table][name] = _coarsenings(tables[table][name].reset_index(drop=True))[level]
    coarse_patients = pd.DataFrame({"patient_id": patients["patient_id"], **kept["patients"]})
    coarse_sites = pd.DataFrame({"patient_id": sites["patient_id"], **kept["sites"]})
    record = (list(kept["patients"]), list(kept["sites"]))

    rare = class_sizes(patient_classes(coarse_patients, coarse_sites, *record)) < k
    rare_ids = set(patients.loc[rare, "patient_id"])
    coarse_patients.loc[rare, record[0]] = None
    coarse_sites.loc[coarse_sites["patient_id"].isin(rare_ids), record[1]] = None
    classes = patient_classes(coarse_patients, coarse_sites, *record)
    out = class_sizes(classes) < k
    released = _renumbered(coarse_patients[~out], coarse_sites, seed)
    by_patient = pd.Series(np.where(out, -1, classes), index=pd.Index(patients["patient_id"], name="patient_id"))
    told = ~sites["patient_id"].isin(patients.loc[out, "patient_id"])
    keys = sites[[key for key in ("site_id",) if key in sites]]
    records = {
        "patients": coarse_patients[~out].reset_index(drop=True),
        "sites": pd.concat([keys, coarse_sites], axis=1)[told].reset_index(drop=True),
    }
    return Coarsened(
        tables=released,
        columns=pd.DataFrame(
            [
                (
                    table,
                    name,
                    lattice.holds(number, level),
                    lattice.bits_lost(_moved((0,) * len(levels), number, level)),
                )
                for number, ((table, name), level) in enumerate(zip(lattice.columns, levels, strict=True))
            ],
            columns=["table", "column", "holds", "bits_lost"],
        ),
        advice=advice(lattice, levels, k),
        k=k,
        smallest_class=smallest_class(classes[~out]),
        n_patients=len(patients),
        n_emptied=int((rare & ~out).sum()),
        n_left_out=int(out.sum()),
        classes=by_patient,
        records=records,
    )


def advice(lattice: Lattice, levels: Levels, k: int) -> pd.DataFrame:
    """What each coarsening of a solution is worth; see `Coarsened.advice`."""
    start, below = (0,) * len(levels), lattice.below(levels, k)
    rows = []
    for column, level in enumerate(levels):
        if level:
            told = (*lattice.columns[column], lattice.holds(column, level))
            bits = lattice.bits_lost(_moved(start, column, level))
            freed = lattice.below(_moved(levels, column, 0), k) - below
            alone = lattice.below(start, k) - lattice.below(_moved(start, column, level), k)
            rows.append((*told, bits, freed, freed / bits if bits > NO_BITS else 0.0, alone))
    names = ["table", "column", "to", "bits_lost", "patients_freed", "freed_per_bit", "freed_alone"]
    table = pd.DataFrame(rows, columns=names)
    table = table.sort_values("freed_per_bit", ascending=False, kind="stable", ignore_index=True)
    table.insert(0, "rank", np.arange(1, len(table) + 1))
    return table


def search(lattice: Lattice, k: int, most_below: int) -> Levels:
    """The coarsening that loses least among those with at most `most_below` patients in classes below k.

    Coarsening only merges classes, so whatever is coarser than an answer is one too: going down from the top
    through answers alone meets them all, the finest first. After `MOST_LOOKED_AT` the best so far stands; no
    column of it can be finer alone, or it would have been looked at next.
    """
    best = lattice.top
    seen, answers = {best}, [(lattice.bits_lost(best), best)]
    counted: dict[bool, list[Levels]] = {True: [], False: []}  # by whether they are answers

    def is_answer(levels: Levels) -> bool:
        if (np.array([levels, *counted[True]])[1:] <= levels).all(axis=1).any():
            return True
        if (np.array([levels, *counted[False]])[1:] >= levels).all(axis=1).any():
            return False
        answer = lattice.below(levels, k) <= most_below
        counted[answer].append(levels)
        return answer

    for _ in range(MOST_LOOKED_AT):
        if not answers:
            break
        bits, levels = heapq.heappop(answers)
        if (bits, levels) < (lattice.bits_lost(best), best):
            best = levels
        for finer in _one_finer(levels):
            if finer not in seen:
                seen.add(finer)
                if is_answer(finer):
                    heapq.heappush(answers, (lattice.bits_lost(finer), finer))
    return best


def _one_finer(levels: Levels) -> list[Levels]:
    return [_moved(levels, column, level - 1) for column, level in enumerate(levels) if level]


def _moved(levels: Levels, column: int, level: int) -> Levels:
    return (*levels[:column], level, *levels[column + 1 :])


def _coarsenings(column: pd.Series) -> list[pd.Series]:
    """The column as it is and at each rung."""
    return [column.astype(object), *(rung.of(column) for rung in ladder(str(column.name)))]


def _entropy(code: np.ndarray) -> float:
    """Shannon entropy of the codes, bits a cell."""
    if not code.size:
        return 0.0
    share = np.unique(code, return_counts=True)[1] / code.size
    return float(-(share * np.log2(share)).sum())


def _renumbered(patients: pd.DataFrame, sites: pd.DataFrame, seed: int) -> dict[str, pd.DataFrame]:
    """Fresh running numbers in random order instead of every key."""
    rng = np.random.default_rng(seed)
    patients = patients.iloc[rng.permutation(len(patients))].reset_index(drop=True)
    sites = sites[sites["patient_id"].isin(patients["patient_id"])]
    sites = sites.iloc[rng.permutation(len(sites))].reset_index(drop=True)
    number = pd.Series(np.arange(1, len(patients) + 1), index=patients["patient_id"])
    sites.insert(0, "patient_no", sites.pop("patient_id").map(number).astype(int).to_numpy())
    sites.insert(0, "site_no", np.arange(1, len(sites) + 1))
    patients.insert(0, "patient_no", number.to_numpy())
    return {"patients": patients.drop(columns="patient_id"), "sites": sites}
