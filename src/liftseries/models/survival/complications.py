"""How many sites ever had a complication, as counted."""

import numpy as np
import pandas as pd

from liftseries.models.shared.levels import as_levels


def count_complications(visits: pd.DataFrame, cases: pd.DataFrame) -> pd.DataFrame:
    """How many sites ever had each complication, among those asked about one at a visit.

    Parameters
    ----------
    visits : the contract's visits; rows of sites that are not in `cases` are ignored
    cases : one row a site, as `cases()` gives it

    Returns
    -------
    `complication, n_sites, n_patients, n_asked, share`
        A kind a row (`none` is no kind); n_asked: sites with a complication or `none` recorded at any visit.
    """
    asked = visits.loc[visits["complication"].notna(), ["site_id", "complication"]]
    asked = asked.merge(cases[["site_id", "patient_id"]], on="site_id", how="inner")
    n_asked = asked["site_id"].nunique()
    kinds = as_levels(asked["complication"])
    rows = []
    for kind in kinds.categories.drop("none", errors="ignore"):
        ever = asked.loc[np.asarray(kinds == kind)]
        n_sites, n_patients = ever["site_id"].nunique(), ever["patient_id"].nunique()
        rows.append((kind, n_sites, n_patients, n_asked, n_sites / n_asked if n_asked else np.nan))
    return pd.DataFrame(rows, columns=["complication", "n_sites", "n_patients", "n_asked", "share"])
