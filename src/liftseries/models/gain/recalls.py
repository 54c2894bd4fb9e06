"""Which visits belong to a recall, and which sites had none with a measurement.

Recalls: at placement, after six months, then every year; common practice, no source.
"""

import numpy as np
import pandas as pd

AROUND_MONTHS = 3.0  # so far from a month may the visit lie that stands for it, the contract's ± 3 months
NO_ROUNDING_ERROR = 9  # decimals: 15.3 - 12.3 is 3 months


def by_recall(months: np.ndarray, value: pd.Series) -> pd.DataFrame:
    """`months, n, mean, sd` of what was measured at the visits nearest to each usual recall."""
    table = value.groupby(nearest_recall(months)).agg(n="size", mean="mean", sd="std")
    return table.rename_axis("months").reset_index()


def nearest_recall(months: np.ndarray) -> np.ndarray:
    """The usual recall that each visit lies nearest to, in months; shape (n_visits,)."""
    year = np.floor(months / 12 + 0.5) * 12
    return np.select([months < 3, months < 9, months < 18], [0, 6, 12], year).astype(int)


def nearest_visits(measured: pd.DataFrame, month: float) -> pd.DataFrame:
    """Each site's measurement nearest to a month, at most three months away; of two as near the earlier.

    Parameters
    ----------
    measured : one row a measurement: `site_id`, `months` and what else
    month
    """
    away = np.round(np.abs(measured["months"].to_numpy(float) - month), NO_ROUNDING_ERROR)
    near = measured.assign(away=away).loc[away <= AROUND_MONTHS]
    return near.sort_values(["away", "months"], kind="stable").drop_duplicates("site_id").drop(columns="away")


def reasons_of_sites(cases: pd.DataFrame, measured: pd.DataFrame, reasons: np.ndarray, unmeasured: str) -> pd.Series:
    """Why no visit of a site entered the model, "" where one did; in the order of `cases`.

    Parameters
    ----------
    cases : one row a site
    measured : one row a measurement
    reasons : shape (n_measured,), why each is not used; "" where it is
    unmeasured : the reason where a site has no measurement
    """
    site_id = cases["site_id"].astype(object)
    named = measured["site_id"].astype(object).to_numpy()
    first_reason = pd.Series(reasons, index=named).groupby(level=0).agg("first")
    with_visit_used = set(measured.loc[reasons == "", "site_id"])
    reason = site_id.map(first_reason).where(site_id.isin(measured["site_id"]), unmeasured)
    return reason.mask(site_id.isin(with_visit_used), "")
