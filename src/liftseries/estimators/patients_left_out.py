"""Penalised models with each patient left out in turn: who leaves together, logistic refits, the jackknife's errors."""

from functools import partial

import numpy as np
from scipy.special import expit

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_sums
from liftseries.estimators.firth import Likelihood, maximum, orthonormal, penalised_logistic
from liftseries.estimators.intervals import NotFitted

LARGEST_STEP = 2.0  # of a standardised coefficient at a time, where many fits run in step
MOST_STEPS_TOGETHER = 40  # what has not settled by then is fitted alone
REFIT_SETTLED = 1e-8  # standard errors
ALONE = 1 - 1e-10  # of what the data tell of a coefficient, told by one patient
MOST_GROUPS = 1000  # more patients than these are left out in groups of whole patients
SITES_A_ROW = 10  # of the same covariates, from which on many sites are counted by rows
CELLS_AT_ONCE = 2_000_000  # of a batch of refits, so that memory stays below some 100 MB


def jackknife_groups(cluster: np.ndarray, most: int = MOST_GROUPS) -> tuple[np.ndarray, int]:
    """Which sites leave together: a patient's own, or those of several whole patients where there are too many.

    Patients are dealt to the groups in the order of their names, so that the order of the sites changes nothing.
    """
    names, codes = np.unique(np.asarray(cluster).astype(str), return_inverse=True)
    n_groups = min(len(names), most)
    return codes % n_groups, n_groups


def groups_to_leave_out(cluster: np.ndarray) -> tuple[np.ndarray, int]:
    """`jackknife_groups`; raises NotFitted where there is but one."""
    group, n_groups = jackknife_groups(cluster)
    if n_groups < 2:
        raise NotFitted(remark("one_patient_of_sites"))
    return group, n_groups


def refit(likelihood: Likelihood, start: np.ndarray, bend: np.ndarray | None = None) -> np.ndarray:
    """The maximum of what is left, shape (p,); NotFitted says that a patient was left out."""
    try:
        return maximum(likelihood, start, bend=bend, settled=REFIT_SETTLED)[0]
    except NotFitted as why:
        raise NotFitted(remark("without_a_patient", why=why)) from None


def refuse_lone_patients(x: np.ndarray, group: np.ndarray, n_groups: int) -> None:
    """Raise NotFitted where the terms cannot be told apart once a group has left."""
    q = np.linalg.qr(x)[0]
    p = q.shape[1]
    part = cluster_sums(group, n_groups, (q[:, :, None] * q[:, None, :]).reshape(len(q), p * p))
    if np.linalg.eigvalsh(part.reshape(n_groups, p, p)).max() > ALONE:
        raise NotFitted(remark("one_patient_determines"))


def jackknife_std_error(replicates: np.ndarray) -> np.ndarray:
    """Standard error from estimates that each leave one group out, shape (n_groups, p).

    Source: Quenouille 1956 and Tukey 1958; Lipsitz, Dear and Zhao 1994, doi:10.2307/2533404 (patients left out).
    """
    g = len(replicates)
    return np.sqrt((g - 1) / g * ((replicates - replicates.mean(0)) ** 2).sum(0))


def jackknife_covariance(replicates: np.ndarray) -> np.ndarray:
    """Covariance, shape (p, p), from estimates that each leave one group out; its diagonal: `jackknife_std_error`."""
    g, off = len(replicates), replicates - replicates.mean(0)
    return (g - 1) / g * off.T @ off


def firth_logistic_jackknife(x: np.ndarray, event: np.ndarray, cluster: np.ndarray, start: np.ndarray) -> np.ndarray:
    """Standard error of `firth_logistic` with patients left out one after the other; see `firth_logistic_refits`.

    Returns
    -------
    shape (p,)
    """
    return jackknife_std_error(firth_logistic_refits(x, event, cluster, start))


def firth_logistic_refits(x: np.ndarray, event: np.ndarray, cluster: np.ndarray, start: np.ndarray) -> np.ndarray:
    """Coefficients of `firth_logistic` with patients left out one after the other, all refits at once.

    Parameters
    ----------
    x : shape (n, p)
    event : shape (n,), true/false
    cluster : shape (n,)
    start : shape (p,), the estimate with all patients

    Returns
    -------
    shape (n_groups, p)
        In the order of the groups that `jackknife_groups` gives.

    Raises
    ------
    NotFitted
        Fewer than two patients, or a refit that does not settle.
    """
    y = np.asarray(event, float)
    n, p = x.shape
    group, n_groups = groups_to_leave_out(cluster)
    refuse_lone_patients(x, group, n_groups)
    z, back = orthonormal(x)
    origin = np.linalg.solve(back, start)
    if n_groups == MOST_GROUPS:
        _, first, row = np.unique(x, axis=0, return_index=True, return_inverse=True)
        if len(first) <= n / SITES_A_ROW:
            return _refits_of_rows(z[first], y, row, group, n_groups, origin) @ back.T
    products = (z[:, :, None] * z[:, None, :]).reshape(n, p * p)
    at_once = max(1, CELLS_AT_ONCE // n)
    found = [
        _refits(z, y, products, group[None, :] != np.arange(first, min(first + at_once, n_groups))[:, None], origin)
        for first in range(0, n_groups, at_once)
    ]
    return np.concatenate(found) @ back.T


def _refits_of_rows(z, y, row, group, n_groups, origin) -> np.ndarray:
    """The same where many sites share few rows of covariates `z`, shape (n_rows, p), counted by row."""
    n_rows = len(z)

    def counted(weight=None) -> np.ndarray:
        of_group = np.bincount(group * n_rows + row, weight, n_groups * n_rows).reshape(n_groups, n_rows)
        return of_group.sum(axis=0) - of_group

    beta = np.empty((n_groups, z.shape[1]))
    for k, (trials, events) in enumerate(zip(counted().astype(float), counted(y), strict=True)):
        own = trials > 0
        beta[k] = refit(partial(penalised_logistic, z[own], events[own], trials[own]), origin)
    return beta


def _refits(z, y, products, kept, origin) -> np.ndarray:
    """Penalised estimates of many subsets of the rows, `kept` of shape (n_fits, n); shape (n_fits, p)."""
    p = z.shape[1]
    beta = np.tile(origin, (len(kept), 1))
    moving = np.arange(len(kept))
    for _ in range(MOST_STEPS_TOGETHER):
        keep = kept[moving]
        pi = expit(beta[moving] @ z.T)
        weight = keep * pi * (1 - pi)
        try:
            inverse = np.linalg.inv((weight @ products).reshape(-1, p, p))
            leverage = weight * (inverse.reshape(-1, p * p) @ products.T)
            score = (keep * (y - pi) + leverage * (0.5 - pi)) @ z
            information = ((weight * (1 + leverage)) @ products).reshape(-1, p, p)
            step = np.linalg.solve(information, score[:, :, None])[:, :, 0]
        except np.linalg.LinAlgError:
            break
        if not np.isfinite(step).all():
            break
        size = np.einsum("ki,kij,kj->k", step, information, step)
        longest = np.abs(step).max(axis=1, keepdims=True)
        beta[moving] += step * (LARGEST_STEP / np.maximum(longest, LARGEST_STEP))
        moving = moving[size > REFIT_SETTLED**2]
        if len(moving) == 0:
            return beta
    for k in moving:
        beta[k] = refit(partial(penalised_logistic, z[kept[k]], y[kept[k]], 1), origin)
    return beta
