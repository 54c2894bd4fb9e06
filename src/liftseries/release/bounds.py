"""Bounds in the place of what is withheld: of a share of few sites.

*Situation:* the interval of one event among K patients gives K and the event away, so it is withheld with the count.
*Choice:* the bound is worked out from what is printed alone: for a count told as fewer than 5 it is that of 4. *Rival:*
the interval of the count as it is, rounded. *Consequence:* it holds for whatever the count is, and is wider.
"""

from __future__ import annotations

import math

import pandas as pd

from liftseries.base.remarks import WITHHELD_COUNT, remark
from liftseries.estimators.proportion import largest_risk
from liftseries.release.digits import SHARE, SHARE_OF_FEW
from liftseries.report.kit.numbers import FEW_SITES

RISK = "risk"  # the scale of shares of sites with an event
BOUND = "bound_of_few"  # the remark


def with_bounds(results: pd.DataFrame) -> pd.DataFrame:
    """The rows of shares with a bound of one side where their events are told as few, and all else of them is.

    Parameters
    ----------
    results : of results.csv, masked
    """
    told = results["n_patients"].gt(0) & results["estimate"].isna()
    found = results.copy()
    for at in results.index[told & results["n_events"].lt(WITHHELD_COUNT) & results["scale"].eq(RISK)]:
        few, n_patients, n_sites = (int(results.at[at, name]) for name in ("n_events", "n_patients", "n_sites"))
        digits = 10.0 ** (SHARE_OF_FEW if max(n_sites, n_patients) < FEW_SITES else SHARE)  # sites may be withheld
        bound = math.ceil(digits * largest_risk(n_patients, min(-few - 1, n_patients))) / digits  # up: it is a bound
        found.loc[at, ["conf_low", "conf_high"]] = 0.0, bound
        found.at[at, "note"] = remark(BOUND, most=-few - 1)
    return found
