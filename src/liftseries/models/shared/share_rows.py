"""Rows of results.csv from a share, or an incidence, whose interval takes patients as clusters."""

import numpy as np

from liftseries.base.remarks import joined
from liftseries.estimators.incidence import Incidence
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.estimators.proportion import Share, exact
from liftseries.models.shared.results import Fit


def clustered_row(fit: Fit, term: str, found: Share | Incidence, times: float = 1.0, headline: bool = True) -> dict:
    """A row with the interval found, all of it times a factor; without an interval it says why in `problem`."""
    if np.isnan(found.conf_low):
        return fit.row(term, found.estimate * times, problem=found.note)
    return fit.row(
        term,
        found.estimate * times,
        found.std_error * times,
        conf_low=found.conf_low * times,
        conf_high=found.conf_high * times,
        conf_level=CONF_LEVEL,
        df=found.df,
        note=joined(found.note, fit.note),
        headline=headline,
    )


def exact_row(fit: Fit, term: str, n_events: int, n: int, headline: bool = True) -> dict:
    """A row with the exact interval of n_events among n independent units."""
    low, high = exact(n_events, n)
    return fit.row(term, n_events / n, conf_low=low, conf_high=high, conf_level=CONF_LEVEL, headline=headline)


def effect_of_share(fit: Fit, row: dict) -> list[dict]:
    """The design effect of a share of sites: its variance over that of as many independent sites."""
    share = row["estimate"]
    return fit.design_effect_rows([row["term"]], [row["std_error"]], [np.sqrt(share * (1 - share) / fit.n_sites)])
