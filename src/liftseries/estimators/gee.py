"""Logistic regression for sites within patients: generalised estimating equations, exchangeable correlation.

With Pearson residuals e and Z = √(μ(1-μ)) X, the inverse of a patient's exchangeable correlation matrix,
(I - c J) / (1-α) with c = α / (1 + (n-1) α), needs only the sums of e and Z: no matrix is ever built.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.linalg import solve_triangular
from scipy.special import expit, logit

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.intervals import FEW_PATIENTS, NotFitted

MAX_ITERATIONS = 200
STEP_TOLERANCE = 1e-11
LARGEST_LOG_ODDS = 30.0  # beyond it a fitted risk is 0 or 1 to 13 digits: the estimate runs off to infinity
FULL_LEVERAGE = 1 - 1e-8
LARGEST_ALPHA = 0.999  # at 1 the correlation matrix has no inverse
# Where sites of a patient are less alike than chance, 1 / (1 + (n-1) α) is how many times over the largest patient
# counts; at the lower bound of α without limit, so that one patient would decide the estimate.
LARGEST_WEIGHT = 10.0

PATIENTS_AT_ONCE = 20_000  # whose parts of the information stand in memory together

HELD = remark("correlation_held")
INDEPENDENCE = remark("working_independence")


@dataclass(frozen=True)
class GeeFit:
    """A fitted GEE.

    Attributes
    ----------
    coefficients : shape (p,), log odds
    covariance : shape (p, p)
        Sandwich without a factor, or the bias-reduced covariance below `few_clusters`.
    std_error : shape (p,)
    sandwich : shape (p, p)
        Sandwich without a factor, whatever the number of patients.
    model_covariance : shape (p, p)
        The model's own, as if the working correlation were the true one; the scale is 1, as risk gives variance.
    bias_reduced : works out Mancl and DeRouen's covariance, shape (p, p)
        Raises NotFitted where a patient alone determines a coefficient.
    alpha : correlation within a patient
    remark : HELD or INDEPENDENCE where alpha is not its moment estimate, else ""
    phi : scale
    naive_covariance : shape (p, p)
        As if sites were independent: of the logistic model with working independence.
    n_clusters : patients
    df : K - p with the bias-reduced covariance, None with the sandwich
    """

    coefficients: np.ndarray
    covariance: np.ndarray
    sandwich: np.ndarray
    model_covariance: np.ndarray
    bias_reduced: Callable[[], np.ndarray]
    alpha: float
    remark: str
    phi: float
    naive_covariance: np.ndarray
    n_clusters: int
    df: int | None

    @property
    def std_error(self) -> np.ndarray:
        return np.sqrt(np.diag(self.covariance))

    @property
    def naive_std_error(self) -> np.ndarray:
        """As if sites were independent."""
        return np.sqrt(np.diag(self.naive_covariance))

    def corrected_variance(self, gradient: np.ndarray) -> float:
        """Variance of `gradient` @ coefficients: the larger of Mancl and DeRouen's and of the model's own.

        With few events the sandwich may show less variance than the model knows of; Mancl and DeRouen's makes up for
        residuals that are too small. Raises NotFitted as `bias_reduced`.
        """
        return float(
            max(gradient @ covariance @ gradient for covariance in (self.bias_reduced(), self.model_covariance))
        )


def logistic_gee(x: np.ndarray, event: np.ndarray, cluster: np.ndarray, few_clusters: int = FEW_PATIENTS) -> GeeFit:
    """Fit a logistic GEE with exchangeable working correlation.

    The working correlation only weighs; the covariance holds whatever it is. A moment estimate near or below the
    lowest admissible correlation would let the largest patient outweigh all others, and one that does not settle
    weighs nothing: both leave working independence, and `remark` says so.

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
    _refuse_too_few(y, n_clusters, p)
    # Orthonormal columns make the steps independent of the covariates' units; see the back-transformation
    # below.
    q, r = np.linalg.qr(x)
    z = q * np.sqrt(n)
    equations = _Equations(z, y, codes, n_clusters)
    start = r[:, 0] / x[0, 0] * logit(y.mean()) / np.sqrt(n)
    independent = equations.solve(start, correlated=False)
    if independent is None:
        raise NotFitted(remark("gee_not_settled", n_steps=MAX_ITERATIONS))
    exchangeable = equations.solve(independent.beta, correlated=True)
    at = exchangeable or independent
    about_alpha = INDEPENDENCE if exchangeable is None else HELD if at.alpha == LARGEST_ALPHA else ""

    return _fit_of(equations, independent, at, r, about_alpha, n_clusters < few_clusters)


def _fit_of(equations: _Equations, independent: _Point, at: _Point, r, about_alpha: str, few: bool) -> GeeFit:
    """The fit that settled at a point, turned back to the columns given: q r are those, q orthonormal."""
    n, p = equations.z.shape
    n_clusters = equations.n_clusters
    bread = np.linalg.inv(at.information)
    back = solve_triangular(r, np.eye(p)) * np.sqrt(n)

    def of_the_columns_given(covariance: np.ndarray) -> np.ndarray:
        return back @ covariance @ back.T

    sandwich = of_the_columns_given(bread @ (at.scores.T @ at.scores) @ bread)
    bias_reduced = cache(lambda: of_the_columns_given(_bias_reduced(equations, at, bread)))
    return GeeFit(
        coefficients=back @ at.beta,
        covariance=bias_reduced() if few else sandwich,
        sandwich=sandwich,
        model_covariance=of_the_columns_given(bread),
        bias_reduced=bias_reduced,
        alpha=float(at.alpha),
        remark=about_alpha,
        phi=float(at.phi),
        naive_covariance=of_the_columns_given(np.linalg.inv(independent.information)),
        n_clusters=n_clusters,
        df=n_clusters - p if few else None,
    )


def _refuse_too_few(y: np.ndarray, n_clusters: int, p: int) -> None:
    """Raise NotFitted with no more patients than columns, without an event, or with nothing else."""
    if n_clusters <= p:
        raise NotFitted(remark("too_few_patients", n_patients=n_clusters, n_coefficients=p))
    if y.all() or not y.any():
        raise NotFitted(remark("all_events" if y.all() else "no_event"))


def _bias_reduced(equations: _Equations, at: _Point, bread: np.ndarray) -> np.ndarray:
    """Mancl and DeRouen's covariance in the equations' own columns."""
    half, squares = np.linalg.cholesky(bread), np.zeros_like(bread)
    for patients, part in equations.information_by_patient(at):
        if np.linalg.eigvalsh(half.T @ part @ half).max() > FULL_LEVERAGE:
            raise NotFitted(remark("one_patient_determines_gee"))
        scores = np.linalg.solve(np.eye(len(bread)) - part @ bread, at.scores[patients, :, None])[:, :, 0]
        squares += scores.T @ scores
    return bread @ squares @ bread


@dataclass(frozen=True)
class _Point:
    """The estimating equations at one β; `zw` are the weighted columns, `sums` and `c` belong to the patients."""

    beta: np.ndarray
    alpha: float
    unusable: bool  # the moment estimate of alpha lies below what may weigh
    phi: float
    information: np.ndarray
    scores: np.ndarray
    zw: np.ndarray
    sums: np.ndarray
    c: np.ndarray


class _Equations:
    """The estimating equations of fixed data."""

    def __init__(self, z, y, codes, n_clusters):
        self.z, self.y, self.codes, self.n_clusters = z, y, codes, n_clusters
        self.size = np.bincount(codes, minlength=n_clusters).astype(float)
        self.n_pairs = (self.size * (self.size - 1) / 2).sum()

    def at(self, beta, correlated: bool) -> _Point:
        """The equations at β."""
        z, codes, n_clusters, size = self.z, self.codes, self.n_clusters, self.size
        n, p = z.shape
        log_odds = z @ beta
        if np.abs(log_odds).max() > LARGEST_LOG_ODDS:
            raise NotFitted(remark("terms_separate_events"))
        mu = expit(log_odds)
        root = np.sqrt(mu * (1 - mu))
        e = (self.y - mu) / root
        zw = z * root[:, None]
        sums = cluster_sums(codes, n_clusters, zw)
        e_sum = np.bincount(codes, weights=e, minlength=n_clusters)

        phi = e @ e / (n - p)
        alpha, unusable = 0.0, False
        if correlated and self.n_pairs > p:
            moment = (e_sum @ e_sum - e @ e) / 2 / (self.n_pairs - p) / phi
            lowest = (1 / LARGEST_WEIGHT - 1) / (size.max() - 1)
            # Held on the way; whether it can be used is asked of the solution alone.
            alpha, unusable = min(max(moment, lowest), LARGEST_ALPHA), moment < lowest
        c = alpha / (1 + (size - 1) * alpha)
        information = (zw.T @ zw - (sums * c[:, None]).T @ sums) / (1 - alpha)
        scores = (cluster_sums(codes, n_clusters, zw * e[:, None]) - sums * (c * e_sum)[:, None]) / (1 - alpha)
        return _Point(beta, alpha, unusable, phi, information, scores, zw, sums, c)

    def solve(self, beta, correlated: bool) -> _Point | None:
        """Fisher scoring from β; None where it does not settle or alpha cannot be used."""
        for _ in range(MAX_ITERATIONS):
            point = self.at(beta, correlated)
            try:
                step = np.linalg.solve(point.information, point.scores.sum(0))
            except np.linalg.LinAlgError:
                raise NotFitted(remark("information_singular")) from None
            if np.abs(step).max() < STEP_TOLERANCE:
                return None if point.unusable else point
            beta = beta + step
        return None

    def information_by_patient(self, point: _Point) -> Iterator[tuple[slice, np.ndarray]]:
        """Some patients after the other: which, and each one's part of the information, shape (…, p, p)."""
        order = np.argsort(self.codes, kind="stable")
        ends, p = np.cumsum(self.size).astype(int), self.z.shape[1]
        for first in range(0, self.n_clusters, PATIENTS_AT_ONCE):
            patients = slice(first, min(first + PATIENTS_AT_ONCE, self.n_clusters))
            rows = order[ends[first] - int(self.size[first]) : ends[patients.stop - 1]]
            zw, sums, c = point.zw[rows], point.sums[patients], point.c[patients]
            outer = (zw[:, :, None] * zw[:, None, :]).reshape(len(rows), p * p)
            part = cluster_sums(self.codes[rows] - first, len(sums), outer).reshape(len(sums), p, p)
            yield patients, (part - c[:, None, None] * sums[:, :, None] * sums[:, None, :]) / (1 - point.alpha)
