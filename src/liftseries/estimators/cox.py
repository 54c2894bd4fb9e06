"""Cox regression for implants within patients: Efron ties, sandwich from each patient's score residuals.

Everything is a cumulative sum over sorted times. The d implants that fail together are taken out of the
risk set one after the other (Efron): in the l-th of d slots a share l/d of them is already gone.
"""

from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.intervals import NotFitted

MAX_ITERATIONS = 40
STEP_TOLERANCE = 1e-10
SINGULAR = 1e-9  # smallest eigenvalue of the information, its diagonal scaled to 1
LARGEST_LOG_HAZARD = 30.0  # e³⁰ times the baseline hazard: the estimate runs off to infinity


@dataclass(frozen=True)
class CoxFit:
    """A fitted Cox model.

    Attributes
    ----------
    coefficients : shape (p,), log hazard
    covariance : shape (p, p)
        Patient-clustered sandwich.
    naive_std_error : shape (p,)
        As if implants were independent.
    log_likelihood, log_likelihood_null : partial, Efron; with the covariates and without
    n_clusters : patients
    """

    coefficients: np.ndarray
    covariance: np.ndarray
    naive_std_error: np.ndarray
    log_likelihood: float
    log_likelihood_null: float
    n_clusters: int

    @property
    def std_error(self) -> np.ndarray:
        return np.sqrt(np.diag(self.covariance))


def cox_regression(
    months: np.ndarray, failed: np.ndarray, x: np.ndarray, cluster: np.ndarray, ties: str = "efron"
) -> CoxFit:
    """Fit a Cox model.

    Parameters
    ----------
    months : shape (n,)
    failed : shape (n,), true/false
    x : shape (n, p)
        No constant; columns independent of each other and of the constant.
    cluster : shape (n,)
        Whose implant it is.
    ties : `efron`, or `breslow`, which leaves tied failures at risk together

    Returns
    -------
    CoxFit

    Raises
    ------
    NotFitted
        No failure, no more patients than columns, or a log hazard without bound.

    Source: Efron 1977, doi:10.1080/01621459.1977.10480613; Lin and Wei 1989,
    doi:10.1080/01621459.1989.10478874; equal to R's `coxph(ties =, cluster =)`.
    """
    months, failed = np.asarray(months, float), np.asarray(failed, bool)
    codes, n_clusters = cluster_codes(cluster)
    p = x.shape[1]
    if not failed.any():
        raise NotFitted(remark("no_failure"))
    if n_clusters <= p:
        raise NotFitted(remark("too_few_patients", n_patients=n_clusters, n_coefficients=p))
    if alike_at_risk(months, failed, x):
        raise NotFitted(remark("terms_alike_at_risk"))

    # Centred columns with standard deviation 1 keep exp() in range and make steps independent of units.
    spread = x.std(axis=0)
    z = (x - x.mean(axis=0)) / spread
    likelihood = PartialLikelihood(months, failed, z, ties)

    beta = np.zeros(p)
    state = null = likelihood(beta)
    for _ in range(MAX_ITERATIONS):
        step = inverse_information(state.information) @ state.score
        trial = likelihood(beta + step)
        while not trial.log_likelihood >= state.log_likelihood - 1e-9 * abs(state.log_likelihood):
            step = step / 2
            if np.abs(step).max() < STEP_TOLERANCE:
                raise NotFitted(remark("no_maximum_partial"))
            trial = likelihood(beta + step)
        beta, state = beta + step, trial
        if np.abs(z @ beta).max() > LARGEST_LOG_HAZARD:
            raise NotFitted(remark("terms_separate_failures"))
        if np.abs(step).max() < STEP_TOLERANCE:
            break
    else:
        raise NotFitted(remark("partial_likelihood_not_settled", n_steps=MAX_ITERATIONS))

    naive = inverse_information(state.information)
    patient_scores = cluster_sums(codes, n_clusters, likelihood.score_residuals(state))
    covariance = naive @ (patient_scores.T @ patient_scores) @ naive
    return CoxFit(
        coefficients=beta / spread,
        covariance=covariance / np.outer(spread, spread),
        naive_std_error=np.sqrt(np.diag(naive)) / spread,
        log_likelihood=state.log_likelihood,
        log_likelihood_null=null.log_likelihood,
        n_clusters=n_clusters,
    )


def alike_at_risk(months: np.ndarray, failed: np.ndarray, x: np.ndarray) -> bool:
    """Whether a column is one and the same number at the first failure; all at risk later were at risk then.

    Asked of the data, for information that ought to be 0 is what rounding leaves of it.
    """
    at_risk = x[months >= months[failed].min()]
    return bool((at_risk.min(axis=0) == at_risk.max(axis=0)).any())


def inverse_information(information: np.ndarray) -> np.ndarray:
    """Inverse of the information matrix; NotFitted where implants at risk together do not tell the terms apart."""
    scale = np.sqrt(np.maximum(np.diag(information), 0))
    if not (scale > 0).all() or np.linalg.eigvalsh(information / np.outer(scale, scale))[0] < SINGULAR:
        raise NotFitted(remark("terms_alike_at_risk"))
    return np.linalg.inv(information)


@dataclass(frozen=True)
class _State:
    """The likelihood at one β, and the sums its score residuals need (of x̄ / s0, by time and cumulated).

    Implants stand in the order of their times; `weight` is an implant's share in the information, over all its slots.
    """

    log_likelihood: float
    score: np.ndarray
    information: np.ndarray
    relative_hazard: np.ndarray
    weight: np.ndarray
    slot_mean_x: np.ndarray
    mean_x: np.ndarray
    time_weight: np.ndarray
    tied_b: np.ndarray
    cumulated_b: np.ndarray


class PartialLikelihood:
    """The partial likelihood of fixed data; call it with β."""

    def __init__(self, months, failed, x, ties: str = "efron"):
        self.times, when = np.unique(months, return_inverse=True)
        self.when_failed = when[failed]
        # Sums run along columns that lie in one piece, implants in the order of their times.
        self.order = np.argsort(when, kind="stable")
        self.x = np.ascontiguousarray(x[self.order].T)
        self.n_leaving = np.bincount(when, minlength=len(self.times))
        self.begins = np.cumsum(self.n_leaving) - self.n_leaving
        self.d = np.bincount(self.when_failed, minlength=len(self.times))
        # One slot a failure: `slot` is its time, `gone` the share l/d of its tied failures already taken out.
        self.slot = np.repeat(np.arange(len(self.times)), self.d)
        first = np.repeat(np.cumsum(self.d) - self.d, self.d)
        self.gone = (np.arange(len(self.slot)) - first) / self.d[self.slot] if ties == "efron" else 0.0 * first
        self.failing = np.flatnonzero(failed[self.order])
        self.first_failing, self.tied_with = np.unique(first, return_inverse=True)

    def __call__(self, beta, time_weight: np.ndarray | None = None) -> _State:
        """The state at β; `time_weight`, shape (n_times,), weighs what each time adds to score and information."""
        x, failing, slot, n_times = self.x, self.failing, self.slot, len(self.times)
        log_hazard = beta @ x
        r = np.exp(np.clip(log_hazard, -700, 700))
        s0 = self._slot_sums(r)
        mean_x = np.column_stack([self._slot_sums(r * column) for column in x]) / s0[:, None]
        g = np.ones(n_times) if time_weight is None else time_weight
        of_slot = g[slot]
        share = of_slot / s0
        a = np.bincount(slot, weights=share, minlength=n_times)
        tied_a = np.bincount(slot, weights=self.gone * share, minlength=n_times)
        b = cluster_sums(slot, n_times, mean_x * share[:, None])
        tied_b = cluster_sums(slot, n_times, mean_x * (self.gone * share)[:, None])
        cumulated_b = np.cumsum(b, axis=0)

        # Σ over slots of Σ w x x' / s0, with the sums swapped: each implant's weight over all its slots at once.
        weight = r * np.repeat(np.cumsum(a), self.n_leaving)
        weight[failing] -= r[failing] * tied_a[slot]
        return _State(
            log_likelihood=float(log_hazard[failing].sum() - np.log(s0).sum()),
            score=x[:, failing] @ of_slot - of_slot @ mean_x,
            information=(x * weight) @ x.T - (mean_x * of_slot[:, None]).T @ mean_x,
            relative_hazard=r,
            weight=weight,
            slot_mean_x=mean_x,
            time_weight=g,
            mean_x=cluster_sums(slot, n_times, mean_x) / np.maximum(self.d, 1)[:, None],
            tied_b=tied_b,
            cumulated_b=cumulated_b,
        )

    def log_det_gradient(self, state: _State, inverse: np.ndarray) -> np.ndarray:
        """How the log determinant of the information changes with each coefficient, shape (p,), all times weighing 1.

        `inverse` is that of the information. With q = x' I⁻¹ x, the third central moments of a slot are needed only as
        E(x q) - x̄ E(q) - 2 E(x x') I⁻¹ x̄ + 2 x̄ (x̄' I⁻¹ x̄). Sums over slots and over those at risk are swapped, so
        that an implant's sums over its slots, those of 1 / s0 and x̄ / s0, are all that is needed.
        """
        x, failing, tied_b = self.x, self.failing, state.tied_b[self.slot]
        turned = inverse @ x
        q = (turned * x).sum(axis=0)
        rq = state.relative_hazard * q
        # x' I⁻¹ times the sum of x̄ / s0 over the slots of each implant
        pull = sum(row * np.repeat(b, self.n_leaving) for row, b in zip(turned, state.cumulated_b.T, strict=True))
        pull[failing] -= (turned[:, failing].T * tied_b).sum(axis=1)
        mean = state.slot_mean_x
        outer = ((mean @ inverse) * mean).sum(axis=1) @ mean
        mean_q = np.add.reduceat(rq, self.begins) @ state.cumulated_b - rq[failing] @ tied_b
        return x @ (q * state.weight - 2 * state.relative_hazard * pull) - mean_q + 2 * outer

    def _slot_sums(self, values: np.ndarray) -> np.ndarray:
        """Sums over those at risk in each slot, a share of the tied failures taken out; both of one dimension."""
        at_risk = np.cumsum(np.add.reduceat(values, self.begins)[::-1])[::-1]
        tied = np.add.reduceat(values[self.failing], self.first_failing)
        return at_risk[self.slot] - self.gone * tied[self.tied_with]

    def score_residuals(self, state: _State) -> np.ndarray:
        """Each implant's part of the score, shape (n, p), in the order of the data as they were given."""
        x, failing, slot = self.x, self.failing, self.slot
        residuals = np.empty(x.shape[::-1])
        for j, column in enumerate(x):
            part = state.relative_hazard * np.repeat(state.cumulated_b[:, j], self.n_leaving) - state.weight * column
            part[failing] -= state.relative_hazard[failing] * state.tied_b[slot, j]
            part[failing] += state.time_weight[slot] * (column[failing] - state.mean_x[slot, j])
            residuals[self.order, j] = part
        return residuals
