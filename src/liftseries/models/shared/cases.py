"""Cases: one row a site with everything known of it, from patient, site and drilling geometry.

Also says of each site whether it was drilled as planned, and cuts residual bone height and lift into the plan's bands:
`<4`, `4 to <6`, `≥6`.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.numbers import band_labels
from liftseries.geometry.deviations import DEVIATIONS, ENDED

AS_DRILLED = ("plan", "not_plan")
# Without these nobody can say that a site was drilled as planned.
ADHERENCE_NEEDS = ("first_too_deep", "advance_too_large", "overdrilled")


def cases(
    patients: pd.DataFrame,
    sites: pd.DataFrame,
    derived: pd.DataFrame,
    rbh_bands_mm: Sequence[float],
    lift_bands_mm: Sequence[float],
) -> pd.DataFrame:
    """Join a site's patient and geometry to it and put it into its bands.

    Parameters
    ----------
    patients, sites : tables of the contract
    derived : derived/sites.csv, one row a site
    rbh_bands_mm, lift_bands_mm : at least one cut, rising, mm
        `rbh_band` cuts rbh_mid_mm, `lift_band` cuts protrusion_mm; a cut belongs to the band above it.

    Returns
    -------
    one row a site, in the order of `sites`
        The columns of the three tables, `ended` and `as_drilled` (categoricals), `rbh_band` and `lift_band` (ordered
        ones).

    Raises
    ------
    pandas.errors.MergeError
        A patient or a derived site stands there twice.
    """
    table = sites.merge(derived, on="site_id", how="left", validate="one_to_one", suffixes=("", "_derived"))
    table = table.merge(patients, on="patient_id", how="left", validate="many_to_one", suffixes=("", "_patient"))
    table["ended"] = pd.Categorical(table["ended"], categories=ENDED)
    table["as_drilled"] = as_drilled(table)
    table["rbh_band"] = band(table["rbh_mid_mm"], rbh_bands_mm)
    table["lift_band"] = band(table["protrusion_mm"], lift_bands_mm)
    return table


def as_drilled(derived: pd.DataFrame) -> pd.Categorical:
    """Whether each site was drilled as planned: `plan`, `not_plan`, missing where that cannot be judged.

    As planned: no deviation that can be judged is true, and those of `ADHERENCE_NEEDS` can all be judged.

    Parameters
    ----------
    derived : the columns of the deviations, one row a site

    Source: the contract, section 3.
    """
    flags = derived[list(DEVIATIONS)].astype("boolean")
    judged = flags[list(ADHERENCE_NEEDS)].notna().all(axis=1).to_numpy()
    strayed = flags.fillna(False).any(axis=1).to_numpy(bool)
    return pd.Categorical.from_codes(np.where(judged, strayed, -1).astype(int), categories=AS_DRILLED)


def band(value_mm: pd.Series, cuts_mm: Sequence[float]) -> pd.Categorical:
    """Which band each value falls in; the lower limit belongs to the band, an empty value to none."""
    # (3.7 + 4.5) / 2 and its like can miss a cut by the last bit, which would put a site into the wrong band.
    rounded = np.round(np.asarray(value_mm, float), 9)
    return pd.cut(rounded, [-np.inf, *cuts_mm, np.inf], right=False, labels=band_labels(cuts_mm), ordered=True)
