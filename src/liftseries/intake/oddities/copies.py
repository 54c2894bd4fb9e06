"""Rows that look copied: sites equal in many measured numbers, visits of two sites alike, a column of one value."""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.intake.oddities.joined import Joined, rows_told
from liftseries.study.oddities import measured_columns

BY_CHANCE = 0.5  # fewer pairs than this may be expected by chance; our choice
IN_ONE_GO = 4096  # sites whose visits are compared with all others at once


def sites_equal(joined: Joined, numbers: float) -> pd.DataFrame:
    """All sites that another one is equal to."""
    values = joined.sites[list(measured_columns()["sites"])].to_numpy(float)
    alike = chance_alike(values)
    needed = next((k for k in range(int(numbers), values.shape[1] + 1) if _pairs(alike, k, len(values)) < BY_CHANCE), 0)
    rows = equal_rows(values, needed) if needed else np.zeros(0, dtype=int)
    return rows_told(rows)


def chance_alike(values: np.ndarray) -> np.ndarray:
    """How probably two rows, drawn at random, are equal in each column.

    Parameters
    ----------
    values : shape (n_rows, n_columns), NaN where unknown; an unknown value is equal to none

    Returns
    -------
    shape (n_columns,)
    """
    n_pairs = max(len(values) * (len(values) - 1), 1)
    counts = [np.unique(column[np.isfinite(column)], return_counts=True)[1] for column in values.T]
    return np.array([(count * (count - 1)).sum() / n_pairs for count in counts])


def _pairs(alike: np.ndarray, fewest: int, n: int) -> float:
    """Pairs of n rows expected to be equal in `fewest` columns or more, were the columns independent."""
    exactly = np.ones(1)
    for p in alike:
        exactly = np.convolve(exactly, [1 - p, p])
    return n * (n - 1) / 2 * exactly[fewest:].sum()


def equal_rows(values: np.ndarray, fewest: int) -> np.ndarray:
    """The rows that are equal to another one in `fewest` columns or more.

    Columns are chosen one by one; a row that stands alone in those chosen so far is dropped on the way.

    Parameters
    ----------
    values : shape (n_rows, n_columns), NaN where unknown; an unknown value is equal to none
    fewest : 1 or more

    Returns
    -------
    shape (n_told,), rising
    """
    codes = np.stack([pd.factorize(column)[0] for column in values.T], axis=1)  # -1 for NaN
    n_rows, n_columns = codes.shape
    told = np.zeros(n_rows, dtype=bool)

    def choose(rows: np.ndarray, group: np.ndarray, first: int, missing: int) -> None:
        if not missing:
            told[rows] = True
            return
        for column in range(first, n_columns - missing + 1):
            here = codes[rows, column]
            known = here >= 0
            joint, labels = pd.factorize(group[known].astype(np.int64) * n_rows + here[known])
            together = np.bincount(joint, minlength=len(labels))[joint] > 1
            if together.any():
                choose(rows[known][together], joint[together], column + 1, missing - 1)

    choose(np.arange(n_rows), np.zeros(n_rows, dtype=np.int64), 0, fewest)
    return np.flatnonzero(told)


def visits_equal(joined: Joined, visits: float) -> pd.DataFrame:
    """The earliest visit of each site whose follow-up another site has too."""
    known = joined.visits.dropna(subset=["site_id", "months", "bone_height_mm", "marginal_bone_mm"])
    numbers = known[["months", "bone_height_mm", "marginal_bone_mm"]].round(6)
    visit, site = numbers.groupby(list(numbers), sort=False).ngroup().to_numpy(), pd.factorize(known["site_id"])[0]
    shared = np.bincount(visit, minlength=1)[visit] > 1
    told = np.flatnonzero(_alike(site[shared], visit[shared], int(visits), int(site.max(initial=-1)) + 1))
    rows = known.assign(site=site)
    rows = rows[rows["site"].isin(told)].sort_values(["site", "months"], kind="stable").drop_duplicates("site")
    return rows_told(rows.index)


def _alike(site: np.ndarray, visit: np.ndarray, fewest: int, n_sites: int) -> np.ndarray:
    """Which sites share `fewest` visits with another one, or as many as chance seldom makes; shape (n_sites,).

    Parameters
    ----------
    site, visit : shape (n,), numbers of the site and of the visit as it is told; only visits that two sites have
    """
    from scipy.sparse import csr_array
    from scipy.special import pdtrc

    told = np.zeros(n_sites, dtype=bool)
    if not len(site):
        return told
    counts = np.bincount(visit)
    pairs = n_sites * (n_sites - 1) / 2
    shared_by_a_pair = (counts * (counts - 1) / 2).sum() / pairs
    while pairs * pdtrc(fewest - 1, shared_by_a_pair) >= BY_CHANCE:
        fewest += 1
    enough = np.bincount(site, minlength=n_sites)[site] >= fewest
    site, visit = site[enough], visit[enough]
    has = csr_array((np.ones(len(site), dtype=np.int32), (site, visit)), shape=(n_sites, len(counts)))
    for first in range(0, n_sites, IN_ONE_GO):
        both = (has[first : first + IN_ONE_GO] @ has.T).tocoo()
        alike = (both.data >= fewest) & (both.row + first != both.col)
        told[both.row[alike] + first] = True
    return told


def column_of_one_value(joined: Joined, values: float) -> pd.DataFrame:
    """At no row: the table and the column."""
    told = []
    for table, columns in measured_columns().items():
        for column in columns:
            known = joined.tables[table][column].dropna()
            if len(known) >= values and known.nunique() == 1:
                told.append({"table": table, "column": column, "n": len(known), "value": float(known.iloc[0])})
    return rows_told([-1] * len(told), **pd.DataFrame(told, columns=["table", "column", "n", "value"]).to_dict("list"))
