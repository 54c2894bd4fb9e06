"""Mancl and DeRouen's covariance of logistic coefficients, working independence, whatever fit they come from."""

import numpy as np
from scipy.special import expit

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.intervals import NotFitted

FULL_LEVERAGE = 1 - 1e-8


def logistic_bias_reduced(x: np.ndarray, event: np.ndarray, coefficients: np.ndarray, cluster: np.ndarray):
    """Σ_k M (I - B_k M)⁻¹ u_k u_k' (I - M B_k)⁻¹ M of clusters k.

    M is the inverse of X' W X, B_k a cluster's part of X' W X, u_k its sum of x (y - p), all at `coefficients`.

    Parameters
    ----------
    x : shape (n, p), of full column rank
    event : shape (n,), true/false
    coefficients : shape (p,)
    cluster : shape (n,)

    Returns
    -------
    shape (p, p)

    Raises
    ------
    NotFitted
        No more clusters than columns, or one cluster alone determines a coefficient.

    Source: Mancl and DeRouen 2001, doi:10.1111/j.0006-341X.2001.00126.x.
    """
    codes, k = cluster_codes(cluster)
    n, p = x.shape
    if k < 2:
        raise NotFitted(remark("one_patient_determines_gee"))
    q, r = np.linalg.qr(x)
    risk = expit(x @ coefficients)
    weight = risk * (1 - risk)
    bread = np.linalg.inv((q * weight[:, None]).T @ q)
    outer = (q[:, :, None] * q[:, None, :] * weight[:, None, None]).reshape(n, p * p)
    part = cluster_sums(codes, k, outer).reshape(k, p, p)
    half = np.linalg.cholesky(bread)
    if np.linalg.eigvalsh(half.T @ part @ half).max() > FULL_LEVERAGE:
        raise NotFitted(remark("one_patient_determines_gee"))
    score = cluster_sums(codes, k, q * (np.asarray(event, float) - risk)[:, None])
    grown = np.linalg.solve(np.eye(p) - part @ bread, score[:, :, None])[:, :, 0]
    back = np.linalg.inv(r)
    return back @ bread @ (grown.T @ grown) @ bread @ back.T
