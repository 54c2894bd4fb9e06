"""Logistic regression for sites within patients: generalised estimating equations, exchangeable correlation.

With Pearson residuals e and Z = √(μ(1-μ)) X, the inverse of a patient's exchangeable correlation matrix,
(I - c J) / (1-α) with c = α / (1 + (n-1) α), needs only the sums of e and Z: no matrix is ever built.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.special import expit, logit

from liftseries.models.clusters import cluster_codes, cluster_sums
from liftseries.models.tidy import FEW_PATIENTS, NotFitted

MAX_ITERATIONS = 200
STEP_TOLERANCE = 1e-11
LARGEST_LOG_ODDS = 30.0  # beyond it a fitted risk is 0 or 1 to 13 digits: the estimate runs off to infinity
FULL_LEVERAGE = 1 - 1e-8
PART_OF_ADMISSIBLE = 0.999  # α stays this far inside its bounds, where the correlation matrix has an inverse


@dataclass(frozen=True)
class GeeFit:
    """A fitted GEE.

    Attributes
    ----------
    coefficients : shape (p,), log odds
    covariance : shape (p, p)
        Sandwich without a factor, or the bias-reduced covariance.
    std_error : shape (p,)
    alpha : correlation within a patient
    alpha_limited : the moment estimate of alpha lay outside what is admissible
    phi : scale
    n_clusters : patients
    df : K - p with the bias-reduced covariance, None with the sandwich
    """

    coefficients: np.ndarray
    covariance: np.ndarray
    alpha: float
    alpha_limited: bool
    phi: float
    n_clusters: int
    df: int | None

    @property
    def std_error(self) -> np.ndarray:
        return np.sqrt(np.diag(self.covariance))


def logistic_gee(x: np.ndarray, event: np.ndarray, cluster: np.ndarray, few_clusters: int = FEW_PATIENTS) -> GeeFit:
    """Fit a logistic GEE with exchangeable working correlation.

    Parameters
    ----------
    x : shape (n, p)
        Of full column rank, the first column constant.
    event : shape (n,), true/false
    cluster : shape (n,)
        Whose site it is.
    few_clusters : below so many clusters the covariance is the bias-reduced one, with K - p degrees of
    freedom

    Returns
    -------
    GeeFit

    Raises
    ------
    NotFitted
        No more patients than columns, no or only events, log odds without bound, or a patient who alone
        determines a coefficient (bias-reduced covariance only).

    Source: Liang and Zeger 1986, doi:10.1093/biomet/73.1.13; α and φ by moments over N - p, as R's package
    gee; bias-reduced covariance: Mancl and DeRouen 2001, doi:10.1111/j.0006-341X.2001.00126.x, in the form
    Σ (I - B_i M)⁻¹ u_i with M the inverse information and B_i, u_i a patient's part of information and
    score.
    """
    y = np.asarray(event, float)
    codes, n_clusters = cluster_codes(cluster)
    n, p = x.shape
    if n_clusters <= p:
        raise NotFitted(f"{n_clusters} patients are too few for {p} coefficients")
    if y.all() or not y.any():
        raise NotFitted(f"{'every' if y.all() else 'no'} site had the event, so its log odds are not finite")

    # Orthonormal columns make the steps independent of the covariates' units; see the back-transformation
    # below.
    q, r = np.linalg.qr(x)
    z = q * np.sqrt(n)
    size = np.bincount(codes, minlength=n_clusters).astype(float)
    n_pairs = (size * (size - 1) / 2).sum()
    lowest = -1 / (size.max() - 1) if n_pairs else 0.0

    beta = r[:, 0] / x[0, 0] * logit(y.mean()) / np.sqrt(n)
    for _ in range(MAX_ITERATIONS):
        log_odds = z @ beta
        if np.abs(log_odds).max() > LARGEST_LOG_ODDS:
            raise NotFitted("the terms tell sites with and without the event apart, so log odds are not finite")
        mu = expit(log_odds)
        root = np.sqrt(mu * (1 - mu))
        e = (y - mu) / root
        zw = z * root[:, None]
        s = cluster_sums(codes, n_clusters, zw)
        e_sum = np.bincount(codes, weights=e, minlength=n_clusters)

        phi = e @ e / (n - p)
        moment = ((e_sum @ e_sum - e @ e) / 2 / (n_pairs - p) / phi) if n_pairs > p else 0.0
        alpha = min(max(moment, PART_OF_ADMISSIBLE * lowest), PART_OF_ADMISSIBLE)
        c = alpha / (1 + (size - 1) * alpha)
        information = (zw.T @ zw - (s * c[:, None]).T @ s) / (1 - alpha)
        scores = (cluster_sums(codes, n_clusters, zw * e[:, None]) - s * (c * e_sum)[:, None]) / (1 - alpha)
        try:
            step = np.linalg.solve(information, scores.sum(0))
        except np.linalg.LinAlgError:
            raise NotFitted("the information matrix is singular") from None
        beta = beta + step
        if np.abs(step).max() < STEP_TOLERANCE:
            break
    else:
        raise NotFitted(f"the estimating equations did not settle within {MAX_ITERATIONS} steps")

    bread = np.linalg.inv(information)
    few = n_clusters < few_clusters
    if few:
        outer = (zw[:, :, None] * zw[:, None, :]).reshape(n, p * p)
        part = cluster_sums(codes, n_clusters, outer).reshape(n_clusters, p, p)
        part = (part - c[:, None, None] * s[:, :, None] * s[:, None, :]) / (1 - alpha)
        half = np.linalg.cholesky(bread)
        if np.linalg.eigvalsh(half.T @ part @ half).max() > FULL_LEVERAGE:
            raise NotFitted("one patient alone determines a coefficient, so no bias-reduced variance exists")
        scores = np.linalg.solve(np.eye(p) - part @ bread, scores[:, :, None])[:, :, 0]
    covariance = bread @ (scores.T @ scores) @ bread
    back = solve_triangular(r, np.eye(p)) * np.sqrt(n)
    return GeeFit(
        coefficients=back @ beta,
        covariance=back @ covariance @ back.T,
        alpha=float(alpha),
        alpha_limited=bool(alpha != moment),
        phi=float(phi),
        n_clusters=n_clusters,
        df=n_clusters - p if few else None,
    )
