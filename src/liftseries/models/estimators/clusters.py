"""Sums within patients: the sites of one patient resemble each other, so variances add up patient sums."""

import numpy as np
import pandas as pd


def cluster_codes(cluster) -> tuple[np.ndarray, int]:
    """Number the clusters 0 … K-1 in order of appearance; gives the codes, shape (n,), and K."""
    codes, names = pd.factorize(np.asarray(cluster), use_na_sentinel=False)
    return codes, len(names)


def cluster_sums(codes: np.ndarray, n_clusters: int, values: np.ndarray) -> np.ndarray:
    """Sum the rows of `values`, shape (n, p), within each cluster; shape (n_clusters, p)."""
    return np.column_stack([np.bincount(codes, weights=column, minlength=n_clusters) for column in values.T])
