"""Cox regression with Firth's penalty: finite hazard ratios also where a level has no failure, or few have failed."""

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.cox import PartialLikelihood
from liftseries.estimators.firth import (
    MOST_GROUPS,
    REFIT_SETTLED,
    FirthFit,
    Likelihood,
    Point,
    curvature,
    jackknife_groups,
    log_det_and_inverse,
    maximum,
    orthonormal,
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
    return penalised_fit(lambda z: _penalised(months, failed, z), x - x.mean(axis=0), profile)


def firth_cox_refits(
    months: np.ndarray, failed: np.ndarray, x: np.ndarray, cluster: np.ndarray, start: np.ndarray
) -> np.ndarray:
    """Coefficients of `firth_cox` with patients left out one after the other, shape (n_groups, p).

    Parameters
    ----------
    months, failed, x : as for `firth_cox`
    cluster : shape (n,)
    start : shape (p,), the estimate with all patients

    Raises
    ------
    NotFitted
        Fewer than two patients, or a refit that cannot tell the terms apart.
    """
    months, failed = np.asarray(months, float), np.asarray(failed, bool)
    group, n_groups = jackknife_groups(cluster, MOST_GROUPS)
    if n_groups < 2:
        raise NotFitted(remark("one_patient_of_implants"))
    z, back = orthonormal(x - x.mean(axis=0))
    beta = np.linalg.solve(back, start)
    likelihood = _penalised(months, failed, z)
    bend = curvature(likelihood, beta, likelihood(beta), np.ones(len(beta), bool))
    replicates = np.empty((n_groups, len(beta)))
    for left_out in range(n_groups):
        kept = group != left_out
        if not failed[kept].any():
            raise NotFitted(remark("one_patient_of_failures"))
        try:
            own = _penalised(months[kept], failed[kept], z[kept])
            replicates[left_out] = maximum(own, beta, bend=bend, settled=REFIT_SETTLED)[0]
        except NotFitted as why:
            raise NotFitted(remark("without_a_patient", why=why)) from None
    return replicates @ back.T


def _penalised(months: np.ndarray, failed: np.ndarray, x: np.ndarray) -> Likelihood:
    """Efron's partial likelihood with the penalty."""
    # Nothing happens between failures: each counts as seen until the last failure before it fell out, if there is one.
    last = np.searchsorted(np.unique(months[failed]), months, side="right") - 1
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
