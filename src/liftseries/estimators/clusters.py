"""Sums within patients: the sites of one patient resemble each other, so variances add up patient sums."""

import numpy as np
import pandas as pd
from scipy.sparse import csc_array


def cluster_codes(cluster) -> tuple[np.ndarray, int]:
    """Number the clusters 0 … K-1 in order of appearance; gives the codes, shape (n,), and K."""
    codes, names = pd.factorize(np.asarray(cluster), use_na_sentinel=False)
    return codes, len(names)


def cluster_sums(codes: np.ndarray, n_clusters: int, values: np.ndarray) -> np.ndarray:
    """Sum the rows of `values`, shape (n, p), within each cluster; shape (n_clusters, p)."""
    n = len(codes)
    return csc_array((np.ones(n), codes, np.arange(n + 1)), shape=(n_clusters, n)) @ values


def running_products(codes: np.ndarray, when: np.ndarray, left_behind: np.ndarray, n_times: int) -> np.ndarray:
    """Σ over clusters of v v' just after every time, v = (members still under observation, sums of what others left).

    Only a cluster's own exits change its v, so each entry is a running total over all exits; no cluster is visited.

    Parameters
    ----------
    codes : shape (n,), which cluster, from 0
    when : shape (n,), index of the time at which a member falls out
    left_behind : shape (n, q), what it adds to its cluster's sums when it does
    n_times

    Returns
    -------
    shape (n_times, 1 + q, 1 + q)
    """
    q = left_behind.shape[1]
    if len(codes) == 0:
        return np.zeros((n_times, 1 + q, 1 + q))
    order = np.lexsort((when, codes))
    codes, when, left_behind = codes[order], when[order], left_behind[order]
    starts = np.flatnonzero(np.r_[True, codes[1:] != codes[:-1]])
    size = np.diff(np.r_[starts, len(codes)])
    position = np.arange(len(codes)) - np.repeat(starts, size)
    still = (np.repeat(size, size) - position).astype(float)
    after = np.column_stack([still - 1, *(_cumsum_within(column, starts, size) for column in left_behind.T)])
    before = np.vstack([np.zeros((1, 1 + q)), after[:-1]])
    before[starts, 1:] = 0.0
    before[:, 0] = still
    products = np.empty((n_times, 1 + q, 1 + q))
    for j in range(1 + q):
        for k in range(j, 1 + q):
            change = after[:, j] * after[:, k] - before[:, j] * before[:, k]
            total = np.cumsum(np.bincount(when, weights=change, minlength=n_times))
            products[:, j, k] = products[:, k, j] = total
    products[:, 0, 0] += (size.astype(float) ** 2).sum()
    return products


def _cumsum_within(values: np.ndarray, starts: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Cumulative sums that begin anew at each of `starts`."""
    total = np.cumsum(values)
    return total - np.repeat(np.r_[0.0, total[starts[1:] - 1]], size)
