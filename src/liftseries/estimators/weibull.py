"""Weibull regression of times known only to lie in an interval, with a patient-clustered sandwich.

    log T = x β + σ W,   S(t) = exp(-exp((log t - x β) / σ)),   log shape = -log σ

What is known of an implant is (left, right]: left = 0 before it was ever seen, right = ∞ as long as it stands.
"""

from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import joined, remark
from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.intervals import NotFitted

MAX_ITERATIONS = 200
SETTLED = 1e-20  # a step that would raise the log-likelihood by less ends the search
RANK = 1e-14
LEAST_SHAPE, LARGEST_SHAPE = 1e-5, 1e4  # beyond these the shape runs to 0 or ∞
LEAST_INFORMATION = 1e-7  # a standard error above 3,000 in standardised columns: the likelihood has no maximum
ONE_TIME = joined(remark("failures_at_one_time"), remark("see", analysis="survival.turnbull"))


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

    Written as z = k log t - x γ with shape k, the log-likelihood is concave in (γ, k), so that halved Newton steps
    climb to its maximum from anywhere; β = γ / k comes after.

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
        No failure, no more patients than parameters, or a likelihood without a maximum.

    Source: Kalbfleisch and Prentice 1980, section 3.6; concave: Burridge 1981, Journal of the Royal Statistical
    Society B 43:41 (both from memory); equal to R's `survreg`; sandwich White 1982, doi:10.2307/1912526.
    """
    left, right = np.asarray(left, float), np.asarray(right, float)
    codes, n_clusters = cluster_codes(cluster)
    p = x.shape[1]
    failed = np.isfinite(right)
    if not failed.any():
        raise NotFitted(remark("no_failure_to_time"))
    if n_clusters <= p + 1:
        raise NotFitted(remark("too_few_patients_for_parameters", n_patients=n_clusters, n_parameters=p + 1))
    spread = np.where(x.std(axis=0) > 0, x.std(axis=0), 1.0)
    centre = np.where(x.std(axis=0) > 0, x.mean(axis=0), 0.0)
    middle = np.log(right[failed]).mean()
    likelihood = _IntervalLikelihood(left, right, (x - centre) / spread, middle)

    # An exponential model is a start from which halved Newton steps climb.
    theta = np.zeros(p + 1)
    theta[0], theta[p] = np.log(np.where(failed, right, left).sum() / failed.sum()) - middle, 1.0
    value, scores, information = likelihood(theta)
    for _ in range(MAX_ITERATIONS):
        score = scores.sum(axis=0)
        step = np.linalg.lstsq(information, score, rcond=RANK)[0]
        gain = step @ score
        if gain < SETTLED:
            break
        # The shape stays above 0: half of the way to it at most.
        step = step * min(1.0, theta[p] / max(-2 * step[p], 1e-300))
        for _ in range(60):
            trial = likelihood(theta + step)
            if trial[0] >= value - 1e-12 * abs(value):
                break
            step = step / 2
        theta, (value, scores, information) = theta + step, trial
        if theta[p] < LEAST_SHAPE:
            raise NotFitted(joined(remark("failures_at_first_visits"), remark("see", analysis="survival.turnbull")))
        if theta[p] > LARGEST_SHAPE:
            raise NotFitted(ONE_TIME)
    else:
        raise NotFitted(remark("likelihood_not_settled", n_steps=MAX_ITERATIONS))
    values, directions = np.linalg.eigh(information)
    if values[0] < LEAST_INFORMATION:
        if np.abs(directions[1:p, 0]).max(initial=0.0) < 1e-3:  # no term has a part in where the search ran off
            raise NotFitted(ONE_TIME)
        raise NotFitted(joined(remark("terms_separate_times"), remark("see", analysis="survival.firth_cox")))

    # To the caller's columns and to log time: β = γ / k, the constant takes up the centres.
    shape = theta[p]
    back = np.zeros((p, p))
    back[range(p), range(p)] = 1 / spread
    back[0] -= centre / spread
    back[0, 0] = 1.0
    beta = back @ theta[:p] / shape
    turn = np.zeros((p + 1, p + 1))  # derivatives of (β, log k) by (γ, k)
    turn[:p, :p], turn[:p, p], turn[p, p] = back / shape, -beta / shape, 1 / shape
    beta[0] += middle
    naive = np.linalg.inv(information)
    sums = cluster_sums(codes, n_clusters, scores)
    return WeibullFit(
        parameters=np.r_[beta, np.log(shape)],
        covariance=turn @ (naive @ (sums.T @ sums) @ naive) @ turn.T,
        naive_covariance=turn @ naive @ turn.T,
        log_likelihood=float(value),
        n_clusters=n_clusters,
    )


class _IntervalLikelihood:
    """The log-likelihood of (γ, k): its value, scores of shape (n, p + 1) and observed information.

    Times are measured from `middle`, the log of a time amid the failures.
    """

    def __init__(self, left, right, x, middle):
        self.exact, self.seen, self.open = left == right, left > 0, ~np.isfinite(right)
        # z = θ·v at either end; an end without a time has no z.
        self.v_left = np.column_stack([-x, np.log(np.where(self.seen, left, 1.0)) - middle])
        self.v_right = np.column_stack([-x, np.log(np.where(self.open, 1.0, right)) - middle])
        self.log_time = np.where(self.exact, self.v_right[:, -1] + middle, 0.0)

    @np.errstate(over="ignore", invalid="ignore", divide="ignore")
    def __call__(self, theta):
        """A step too far overflows; its value is then -∞ and the step is halved."""
        z_left, z_right = self.v_left @ theta, self.v_right @ theta
        u_left = np.where(self.seen, np.exp(np.minimum(z_left, 700)), 0.0)
        u_right = np.where(self.open, 0.0, np.exp(np.minimum(z_right, 700)))
        gap = np.where(self.open, np.inf, np.maximum(u_right - u_left, 0.0))
        within = np.where(self.exact, 1.0, -np.expm1(-gap))  # chance of failing by `right` once seen at `left`
        # Derivatives by z of both ends: a, b and their own aa, ab, bb.
        a = -u_left / within
        b = u_right * np.exp(-np.where(self.open, 0.0, gap)) / within
        aa, ab, bb = a * (1 - u_left) - a**2, -a * b, b * (1 - u_right) - b**2
        value = -u_left + np.log(within)
        # An exact time: log f = z - exp(z) + log k - log t, all of it in b but the shape's own part.
        a, aa, ab = (np.where(self.exact, 0.0, term) for term in (a, aa, ab))
        b, bb = np.where(self.exact, 1 - u_right, b), np.where(self.exact, -u_right, bb)
        value = np.where(self.exact, z_right - u_right + np.log(theta[-1]) - self.log_time, value)

        scores = a[:, None] * self.v_left + b[:, None] * self.v_right
        scores[:, -1] += self.exact / theta[-1]
        mixed = (self.v_left * ab[:, None]).T @ self.v_right
        hessian = mixed + mixed.T
        hessian += (self.v_left * aa[:, None]).T @ self.v_left + (self.v_right * bb[:, None]).T @ self.v_right
        hessian[-1, -1] -= self.exact.sum() / theta[-1] ** 2
        total = value.sum()
        return (total if np.isfinite(total) else -np.inf), scores, -hessian
