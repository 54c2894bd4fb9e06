"""Whether a made-up record is that of a real patient, as far as others may know the latter.

Compared are the quasi-identifiers whose values mean the same in both files: age, sex, the history, and of a site its
year and tooth. Labels (centre, operator) are not compared, since the twin's are fresh and those behind them are drawn
anew.

    a *copy*     equal in all of them
    *points at*  equal in all of them, or in all but one, and at least four, where no other real patient is

With nothing but a few common answers (sex, smoking, two histories) everybody is equal to somebody, made up or not,
and chance alone lets two unrelated patients agree on four of seven; so agreement counts where it singles out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from liftseries.disclosure.anonymity import quasi_identifiers
from liftseries.study.schema import Table

LEAST_TOGETHER = 4


def compared(table: Table) -> list[str]:
    """The quasi-identifiers of a table that are no labels."""
    return [name for name in quasi_identifiers(table) if table.columns[name].type != "text"]


class Records:
    """Real records, sorted once, in which made-up ones are looked up.

    Parameters
    ----------
    real
        The compared columns, q of them; a missing value agrees with a missing value.
    patient : shape (n_real,)
        Whose record each is, whole numbers from 0.
    """

    def __init__(self, real: pd.DataFrame, patient: np.ndarray) -> None:
        self.names, self._patient = list(real), patient
        factorized = {name: pd.factorize(real[name].to_numpy(object)) for name in real}
        self._levels = {name: pd.Index(levels, dtype=object) for name, (_, levels) in factorized.items()}
        self._codes = {name: np.where(codes < 0, len(levels), codes) for name, (codes, levels) in factorized.items()}
        self._alike: dict[tuple[str, ...], _Alike] = {}

    def agreement(self, new: pd.DataFrame, names: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
        """How many real records agree with each new one on some columns, and whether all of these are of one patient.

        Returns
        -------
        shape (n_new,), whole numbers; shape (n_new,), true or false
        """
        return self._agreement(self._coded(new, names), len(new))

    def too_close(self, new: pd.DataFrame, k: int, strict: bool = True) -> np.ndarray:
        """Which new records are a copy of a real one or point at one patient, shape (n_new,), true or false.

        Parameters
        ----------
        k, strict
            Not strict, a record that at least k real records are equal to is no copy.
        """
        q = len(self.names)
        if q < LEAST_TOGETHER or not self._patient.size:
            return np.zeros(len(new), bool)
        coded = self._coded(new, self.names)
        counts, single = self._agreement(coded, len(new))
        close = (counts > 0) & (strict | (counts < k) | single)
        for left_out in self.names if q > LEAST_TOGETHER else ():
            rest = {name: codes for name, codes in coded.items() if name != left_out}
            close |= self._agreement(rest, len(new))[1]
        return close

    def _coded(self, new: pd.DataFrame, names: Sequence[str]) -> dict[str, np.ndarray]:
        """Codes of the new values; below 0 where no real record has the value."""
        coded = {}
        for name in names:
            values, levels = new[name].to_numpy(object), self._levels[name]
            coded[name] = np.where(pd.isna(values), len(levels), levels.get_indexer(values))
        return coded

    def _agreement(self, coded: dict[str, np.ndarray], n: int) -> tuple[np.ndarray, np.ndarray]:
        if (names := tuple(coded)) not in self._alike:
            self._alike[names] = _Alike([self._codes[name] for name in names], self._patient)
        group = self._alike[names].group_of(list(coded.values()), n)
        counts, single = self._alike[names].counts, self._alike[names].single
        return np.where(group < 0, 0, counts[group]), (group >= 0) & single[group]


class _Alike:
    """Groups of real records that are equal in some columns.

    Attributes
    ----------
    counts : shape (n_groups,), records of each
    single : shape (n_groups,), whether they are all of one patient
    """

    def __init__(self, columns: list[np.ndarray], patient: np.ndarray) -> None:
        # Column by column, a group of those before and a code are one number, and the numbers are counted through.
        self._held: list[tuple[int, np.ndarray]] = []
        group = np.zeros(patient.size, np.int64)
        for codes in columns:
            n_codes = int(codes.max(initial=0)) + 1
            held, group = np.unique(group * n_codes + codes, return_inverse=True)
            self._held.append((n_codes, held))
        self.counts = np.bincount(group)
        n_patients = int(patient.max(initial=0)) + 1
        self.single = np.bincount(np.unique(group * n_patients + patient) // n_patients) == 1

    def group_of(self, columns: list[np.ndarray], n: int) -> np.ndarray:
        """The group that each of n new records belongs to, -1 for none; shape (n,)."""
        group = np.zeros(n, np.int64)
        for codes, (n_codes, held) in zip(columns, self._held, strict=True):
            both = np.where((group < 0) | (codes < 0) | (codes >= n_codes), -1, group * n_codes + codes)
            at = np.searchsorted(held, both).clip(max=held.size - 1)
            group = np.where(held[at] == both, at, -1)
        return group


def known_of_sites(tables: Mapping[str, pd.DataFrame], schema: Mapping[str, Table]) -> pd.DataFrame:
    """What may be known of each site: the compared columns of its patient, and its own."""
    own = compared(schema["patients"])
    of_patient = tables["patients"].set_index("patient_id")[own].reindex(tables["sites"]["patient_id"])
    of_site = tables["sites"][compared(schema["sites"])]
    return pd.concat([of_patient.reset_index(drop=True), of_site.reset_index(drop=True)], axis=1)
