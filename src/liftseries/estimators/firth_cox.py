"""Cox regression with Firth's penalty: finite hazard ratios also where a level has no failure, or few have failed."""

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.cox import PartialLikelihood, alike_at_risk
from liftseries.estimators.firth import (
    FirthFit,
    Likelihood,
    Point,
    log_det_and_inverse,
    penalised_fit,
)
from liftseries.estimators.intervals import NotFitted

LARGEST_LOG_HAZARD = 300.0  # beyond it the sums over those at risk leave the range of numbers


def firth_cox(months: np.ndarray, failed: np.ndarray, x: np.ndarray, profile: bool = True) -> FirthFit:
    """Fit a Cox model, Efron ties, with Firth's penalty.

    Parameters
    ----------
    months : shape (n,)
    failed : shape (n,), true/false
    x : shape (n, p)
        No constant; columns independent of each other and of the constant.
    profile : whether limits and p-values are worked out, NaN otherwise

    Returns
    -------
    FirthFit
        std_error from the inverse information; log_likelihood the penalised partial one.

    Raises
    ------
    NotFitted
        No failure, or terms that those at risk together do not tell apart.

    Source: Heinze and Schemper 2001, doi:10.1111/j.0006-341X.2001.00114.x; ties as Efron 1977.
    """
    months, failed = np.asarray(months, float), np.asarray(failed, bool)
    if not failed.any():
        raise NotFitted(remark("no_failure"))
    if alike_at_risk(months, failed, x):
        raise NotFitted(remark("terms_alike"))
    return penalised_fit(lambda z: penalised(months, failed, z), x - x.mean(axis=0), profile)


def penalised(months: np.ndarray, failed: np.ndarray, x: np.ndarray) -> Likelihood:
    """Efron's partial likelihood with the penalty."""
    last = at_last_failure(months, failed)
    at_risk = last >= 0
    efron = PartialLikelihood(last[at_risk], failed[at_risk], x[at_risk])

    def likelihood(beta: np.ndarray) -> Point:
        if np.abs(x @ beta).max() > LARGEST_LOG_HAZARD:
            return Point(-np.inf, np.full(len(beta), np.nan), np.full((len(beta),) * 2, np.nan))
        at = efron(beta)
        log_det, inverse = log_det_and_inverse(at.information)
        pull = efron.log_det_gradient(at, inverse) / 2
        return Point(at.log_likelihood + log_det / 2, at.score + pull, at.information)

    return likelihood


def at_last_failure(months: np.ndarray, failed: np.ndarray) -> np.ndarray:
    """The number of the last time of failure at which each implant was seen; -1 where it fell out before the first.

    Nothing happens between failures.
    """
    return np.searchsorted(np.unique(months[failed]), months, side="right") - 1
