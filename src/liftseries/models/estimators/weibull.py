"""Weibull regression of times known only to lie in an interval, with a patient-clustered sandwich.

    log T = x β + σ W,   S(t) = exp(-exp((log t - x β) / σ)),   log shape = -log σ

What is known of an implant is (left, right]: left = 0 before it was ever seen, right = ∞ as long as it stands.
"""

from dataclasses import dataclass

import numpy as np

from liftseries.models.estimators.clusters import cluster_codes, cluster_sums
from liftseries.models.tidy import NotFitted

MAX_ITERATIONS = 200
SETTLED = 1e-10  # a step this small, in standard errors, ends the search
LARGEST_LOG_SCALE = 12.0


@dataclass(frozen=True)
class WeibullFit:
    """A fitted Weibull model of log time.

    Attributes
    ----------
    parameters : shape (p + 1,)
        The coefficients of the columns, then the log shape.
    covariance : shape (p + 1, p + 1)
        Patient-clustered sandwich without a factor.
    naive_covariance : shape (p + 1, p + 1)
        As if implants were independent.
    log_likelihood
    n_clusters : patients
    """

    parameters: np.ndarray
    covariance: np.ndarray
    naive_covariance: np.ndarray
    log_likelihood: float
    n_clusters: int

    @property
    def std_error(self) -> np.ndarray:
        return np.sqrt(np.diag(self.covariance))

    @property
    def naive_std_error(self) -> np.ndarray:
        """As if implants were independent."""
        return np.sqrt(np.diag(self.naive_covariance))

    def mean_survival(self, x: np.ndarray, months) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Survival at months averaged over rows of `x`, its standard error by the delta method, and the naive one.

        Parameters
        ----------
        x : shape (n, p)
        months : shape (m,), above 0

        Returns
        -------
        three arrays of shape (m,)
        """
        survival, std_error, naive = [], [], []
        shape = np.exp(self.parameters[-1])
        for month in np.atleast_1d(np.asarray(months, float)):
            z = (np.log(month) - x @ self.parameters[:-1]) * shape
            s = np.exp(-np.exp(z))
            slope = -s * np.exp(z)  # dS/dz
            gradient = np.r_[-(slope * shape) @ x, (slope * z).sum()] / len(x)
            survival.append(s.mean())
            std_error.append(np.sqrt(gradient @ self.covariance @ gradient))
            naive.append(np.sqrt(gradient @ self.naive_covariance @ gradient))
        return np.array(survival), np.array(std_error), np.array(naive)


def weibull_interval(left: np.ndarray, right: np.ndarray, x: np.ndarray, cluster: np.ndarray) -> WeibullFit:
    """Fit the model by maximum likelihood, Newton's method on analytic derivatives.

    Parameters
    ----------
    left, right : shape (n,)
        0 ≤ left ≤ right, right > 0 and possibly infinite; equal where the time is known.
    x : shape (n, p)
        Of full column rank, the first column constant.
    cluster : shape (n,)

    Returns
    -------
    WeibullFit

    Raises
    ------
    NotFitted
        No failure, no more patients than parameters, or no maximum that could be found.

    Source: Kalbfleisch and Prentice 1980, section 3.6 (from memory); equal to R's `survreg`; sandwich White 1982,
    doi:10.2307/1912526.
    """
    left, right = np.asarray(left, float), np.asarray(right, float)
    codes, n_clusters = cluster_codes(cluster)
    p = x.shape[1]
    if not np.isfinite(right).any():
        raise NotFitted("no implant failed, so no time to failure can be modelled")
    if n_clusters <= p + 1:
        raise NotFitted(f"too few patients ({n_clusters}) for {p + 1} parameters")
    spread = np.where(x.std(axis=0) > 0, x.std(axis=0), 1.0)
    centre = np.where(x.std(axis=0) > 0, x.mean(axis=0), 0.0)
    z = (x - centre) / spread
    likelihood = _IntervalLikelihood(left, right, z)

    # An exponential model of the midpoints is a start from which halved Newton steps climb.
    finite = np.isfinite(right)
    theta = np.zeros(p + 1)
    theta[0] = np.log(np.where(finite, (left + np.where(finite, right, 0.0)) / 2, left).sum() / finite.sum())
    at = likelihood(theta)
    for _ in range(MAX_ITERATIONS):
        step = _ascent(at)
        for _ in range(60):
            trial = likelihood(theta + step)
            if trial[0] >= at[0] - 1e-12 * abs(at[0]):
                break
            step = step / 2
        size = step @ at[1].sum(axis=0)
        theta, at = theta + step, trial
        if np.abs(theta).max() > LARGEST_LOG_SCALE * 3:
            raise NotFitted("the terms tell failed and lasting implants apart, so log times are not finite")
        if abs(size) < SETTLED**2:
            break
    else:
        raise NotFitted(f"the likelihood did not settle within {MAX_ITERATIONS} steps")

    if np.linalg.eigvalsh(-at[2]).min() <= 0:
        raise NotFitted("the likelihood has no maximum that could be found")
    naive = np.linalg.inv(-at[2])
    sums = cluster_sums(codes, n_clusters, at[1])
    # Back to the caller's columns: β_j = b_j / spread_j, the constant takes up the centres; log shape = -log σ.
    back = np.zeros((p + 1, p + 1))
    back[:p, :p] = np.diag(1 / spread)
    back[0, :p] -= centre / spread
    back[0, 0] = 1.0
    back[p, p] = -1.0
    return WeibullFit(
        parameters=back @ theta,
        covariance=back @ (naive @ (sums.T @ sums) @ naive) @ back.T,
        naive_covariance=back @ naive @ back.T,
        log_likelihood=float(at[0]),
        n_clusters=n_clusters,
    )


def _ascent(at) -> np.ndarray:
    """Newton's step, or where the Hessian is not negative definite that of the scores' outer product."""
    _, scores, hessian = at
    total = scores.sum(axis=0)
    if np.linalg.eigvalsh(hessian).max() < 0:
        return np.linalg.solve(-hessian, total)
    return np.linalg.lstsq(scores.T @ scores + 1e-8 * np.eye(len(total)), total, rcond=None)[0]


class _IntervalLikelihood:
    """The log-likelihood of (β, log σ): its value, scores of shape (n, p + 1) and Hessian."""

    def __init__(self, left, right, x):
        self.x = x
        self.exact = left == right
        self.seen, self.open = left > 0, ~np.isfinite(right)
        self.log_left = np.log(np.where(self.seen, left, 1.0))
        self.log_right = np.log(np.where(self.open, 1.0, right))

    @np.errstate(over="ignore", invalid="ignore")
    def __call__(self, theta):
        """A step too far overflows; its value is then -∞ and the step is halved."""
        x, shape = self.x, np.exp(-theta[-1])
        eta = x @ theta[:-1]
        z_left = np.where(self.seen, (self.log_left - eta) * shape, 0.0)
        z_right = np.where(self.open, 0.0, (self.log_right - eta) * shape)
        u_left = np.where(self.seen, np.exp(np.minimum(z_left, 700)), 0.0)
        u_right = np.where(self.open, 0.0, np.exp(np.minimum(z_right, 700)))
        gap = np.where(self.open, np.inf, u_right - u_left)
        within = np.where(self.exact, 1.0, -np.expm1(-np.maximum(gap, 1e-300)))  # chance of failing once seen at `left`
        # Derivatives by z of both ends: a, b and their own aa, ab, bb.
        a = -u_left / within
        b = np.where(self.open, 0.0, u_right * np.exp(-np.minimum(np.where(self.open, 0.0, gap), 700)) / within)
        aa, ab, bb = a * (1 - u_left) - a**2, -a * b, b * (1 - u_right) - b**2
        value = -u_left + np.log(within)
        # An exact time: log f = z - exp(z) - log σ - log t, all of it in b.
        a, aa, ab = (np.where(self.exact, 0.0, term) for term in (a, aa, ab))
        b, bb = np.where(self.exact, 1 - u_right, b), np.where(self.exact, -u_right, bb)
        value = np.where(self.exact, z_right - u_right - theta[-1] - self.log_right, value)

        by_scale = -(a * z_left + b * z_right) - self.exact
        scores = np.column_stack([-shape * (a + b)[:, None] * x, by_scale])
        cross = (a + b) + aa * z_left + ab * (z_left + z_right) + bb * z_right
        both = aa * z_left**2 + 2 * ab * z_left * z_right + bb * z_right**2 + a * z_left + b * z_right
        hessian = np.empty((len(theta), len(theta)))
        hessian[:-1, :-1] = (x * (shape**2 * (aa + 2 * ab + bb))[:, None]).T @ x
        hessian[:-1, -1] = hessian[-1, :-1] = shape * (cross @ x)
        hessian[-1, -1] = both.sum()
        total = value.sum()
        return (total if np.isfinite(total) else -np.inf), scores, hessian
