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

from collections.abc import Mapping

import numpy as np
import pandas as pd

from liftseries.disclosure.anonymity import quasi_identifiers
from liftseries.study.schema import Table
from liftseries.twin.donors import stacked

LEAST_TOGETHER = 4
CELLS_AT_ONCE = 4_000_000


def compared(table: Table) -> list[str]:
    """The quasi-identifiers of a table that are no labels."""
    return [name for name in quasi_identifiers(table) if table.columns[name].type != "text"]


def agreement(real: pd.DataFrame, patient: np.ndarray, new: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """How many real patients agree with each new record, on each choice of columns.

    Parameters
    ----------
    real, new
        The same columns, q of them; a missing value agrees with a missing value.
    patient : shape (n_real,)
        Whose record each real one is, whole numbers from 0.

    Returns
    -------
    counts : shape (n_new, 2^q)
        Real records that agree on at least the columns of the choice; column j stands in choice c where c has bit j.
    single : shape (n_new, 2^q), true or false
        They are all of one patient.
    """
    q = real.shape[1]
    codes = [pd.factorize(stacked(real[name], new[name]))[0] for name in real]
    codes = np.column_stack([np.zeros((len(real) + len(new), 0), int), *codes])
    of_real, of_new = codes[: len(real)], codes[len(real) :]
    counts, single = np.empty((len(new), 2**q), np.int64), np.empty((len(new), 2**q), bool)
    block = max(CELLS_AT_ONCE // max(len(real) * q, 2**q), 1)
    for begin in range(0, len(new), block):
        rows = slice(begin, begin + block)
        choice = np.zeros((len(of_new[rows]), len(real)), np.int64)
        for column in range(q):
            choice += (of_new[rows, None, column] == of_real[:, column]) << column
        n, first, second = (_supersets(choice, weight, q) for weight in (np.ones_like(patient), patient, patient**2))
        # All of one patient: the numbers do not vary (large products wrap round, on both sides alike).
        counts[rows], single[rows] = n, (n > 0) & (n * second == first**2)
    return counts, single


def _supersets(choice: np.ndarray, weight: np.ndarray, q: int) -> np.ndarray:
    """The sum of weights over all records whose agreement holds the choice, shape (n, 2^q)."""
    n = len(choice)
    at = (choice + (2**q) * np.arange(n)[:, None]).ravel()
    sums = np.bincount(at, weights=np.tile(weight.astype(float), n), minlength=n * 2**q).reshape(n, 2**q)
    sums = np.round(sums).astype(np.int64)
    for bit in range(q):
        halves = sums.reshape(n, -1, 2, 2**bit)
        halves[:, :, 0] += halves[:, :, 1]
    return sums


def too_close(real: pd.DataFrame, patient: np.ndarray, new: pd.DataFrame, k: int, strict: bool = True) -> np.ndarray:
    """Which new records are a copy of a real one or point at one patient, shape (n_new,), true or false.

    Parameters
    ----------
    k, strict
        Not strict, a record that at least k real records are equal to is no copy.
    """
    q = real.shape[1]
    if q < LEAST_TOGETHER or not len(real):
        return np.zeros(len(new), bool)
    counts, single = agreement(real, patient, new)
    size = np.array([bin(choice).count("1") for choice in range(2**q)])
    copy = (counts[:, -1] > 0) & (strict | (counts[:, -1] < k) | single[:, -1])
    return copy | single[:, size >= max(q - 1, LEAST_TOGETHER)].any(axis=1)


def known_of_sites(tables: Mapping[str, pd.DataFrame], schema: Mapping[str, Table]) -> pd.DataFrame:
    """What may be known of each site: the compared columns of its patient, and its own."""
    own = compared(schema["patients"])
    of_patient = tables["patients"].set_index("patient_id")[own].reindex(tables["sites"]["patient_id"])
    of_site = tables["sites"][compared(schema["sites"])]
    return pd.concat([of_patient.reset_index(drop=True), of_site.reset_index(drop=True)], axis=1)
