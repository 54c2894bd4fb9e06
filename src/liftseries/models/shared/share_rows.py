"""Rows of results.csv from a share, or an incidence, whose interval takes patients as clusters."""

import numpy as np

from liftseries.base.remarks import joined
from liftseries.estimators.incidence import Incidence
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted
from liftseries.estimators.proportion import Share, exact, share_of_patients
from liftseries.models.shared.results import Fit, warned


def share_row(
    fit: Fit, term: str, event: np.ndarray, patient: np.ndarray, headline: bool = True
) -> tuple[dict, list[dict]]:
    """The share of the sites with an event, and its design effect if it has one: its variance over that of as many
    independent sites.

    Parameters
    ----------
    fit : what the row shares with others
    term
    event : shape (n,), true/false
    patient : shape (n,), whose site each is
    headline : whether it may be one; without an interval it is none, and `problem` says why
    """
    try:
        row = clustered_row(fit, term, share_of_patients(event, patient), headline=headline)
    except NotFitted as why:
        return fit.row(term, problem=str(why)), []
    independent = np.sqrt(row["estimate"] * (1 - row["estimate"]) / len(event))
    effects = fit.design_effect_rows([term], [row["std_error"]], [independent])
    return warned([row], effects)[0], effects


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
