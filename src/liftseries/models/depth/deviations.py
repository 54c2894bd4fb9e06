"""How often each deviation from the drilling plan occurred, as counted."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.geometry.deviations import DEVIATIONS
from liftseries.models.shared.levels import subsets


def count_deviations(cases: pd.DataFrame, by: Sequence[str] = ("approach",)) -> pd.DataFrame:
    """How often each deviation from the drilling plan occurred among the sites where it could be judged.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by : columns whose levels are subsets besides `all`

    Returns
    -------
    `deviation, subset, n_sites, n_true, share, n_not_judged`
        n_sites: sites where it can be judged; n_not_judged: sites with a log where it cannot.
    """
    rows = []
    logged = cases[list(DEVIATIONS)].notna().any(axis=1).to_numpy()
    for subset, member in subsets(cases, by):
        for deviation in DEVIATIONS:
            judged = cases.loc[member, deviation].astype("boolean").dropna()
            n, n_true, n_logged = len(judged), int(judged.sum()), int((member & logged).sum())
            rows.append((deviation, subset, n, n_true, n_true / n if n else np.nan, n_logged - n))
    return pd.DataFrame(rows, columns=["deviation", "subset", "n_sites", "n_true", "share", "n_not_judged"])
