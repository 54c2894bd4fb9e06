"""Refits of the penalised Cox model with each patient left out in turn, many at once."""

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.cox import alike_at_risk
from liftseries.estimators.firth import SINGULAR, curvature, orthonormal
from liftseries.estimators.firth_cox import LARGEST_LOG_HAZARD, at_last_failure, penalised
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.patients_left_out import CELLS_AT_ONCE, REFIT_SETTLED, groups_to_leave_out, refit

MOST_STEPS_TOGETHER = 8  # what has not settled by then is searched for alone


def firth_cox_refits(
    months: np.ndarray, failed: np.ndarray, x: np.ndarray, cluster: np.ndarray, start: np.ndarray
) -> np.ndarray:
    """Coefficients of `firth_cox` with patients left out one after the other.

    Parameters
    ----------
    months : shape (n,)
    failed : shape (n,), true/false
    x : shape (n, p)
    cluster : shape (n,)
    start : shape (p,), the estimate with all patients

    Returns
    -------
    shape (n_groups, p)
        In the order of the groups that `jackknife_groups` gives.

    Raises
    ------
    NotFitted
        Fewer than two patients, or a refit that cannot tell the terms apart.
    """
    months, failed = np.asarray(months, float), np.asarray(failed, bool)
    group, n_groups = groups_to_leave_out(cluster)
    if len(np.unique(group[failed])) < 2:
        raise NotFitted(remark("one_patient_of_failures"))
    _refuse_lone_differences(months, failed, x, group)
    z, back = orthonormal(x - x.mean(axis=0))
    beta = np.linalg.solve(back, start)
    likelihood = penalised(months, failed, z)
    bend = curvature(likelihood, beta, likelihood(beta), np.ones(len(beta), bool))
    replicates = np.tile(beta, (n_groups, 1))
    at_once = max(1, CELLS_AT_ONCE // len(z))
    together = _Together(months, failed, z, group)
    for first in range(0, n_groups, at_once):
        left_out = np.arange(first, min(first + at_once, n_groups))
        replicates[left_out], settled = _newton(together, left_out, replicates[left_out], bend)
        for alone in left_out[~settled]:
            kept = group != alone
            replicates[alone] = refit(penalised(months[kept], failed[kept], z[kept]), beta, bend)
    return replicates @ back.T


def _refuse_lone_differences(months: np.ndarray, failed: np.ndarray, x: np.ndarray, group: np.ndarray) -> None:
    """Raise NotFitted where those at risk are alike in a column once a group has left.

    That can only be the group of the first of them, of the first who differs from that one, or of the first failure.
    """
    at_risk = np.flatnonzero(months >= months[failed].min())
    first, differing = at_risk[0], at_risk[(x[at_risk] != x[at_risk[0]]).argmax(axis=0)]
    for alone in {group[first], *group[differing], group[np.flatnonzero(failed)[months[failed].argmin()]]}:
        kept = group != alone
        if alike_at_risk(months[kept], failed[kept], x[kept]):
            raise NotFitted(remark("without_a_patient", why=remark("terms_alike")))


def _newton(together: "_Together", left_out: np.ndarray, beta: np.ndarray, bend: np.ndarray | None):
    """Newton's method for each refit; also which have settled. What does not climb at full steps is left as it is."""
    settled, moving = np.zeros(len(beta), bool), np.arange(len(beta))
    value, score, information = together(left_out, beta)
    for _ in range(MOST_STEPS_TOGETHER):
        try:
            step = np.linalg.solve(information if bend is None else bend, score[:, :, None])[:, :, 0]
        except np.linalg.LinAlgError:
            break
        size = np.einsum("gi,gij,gj->g", step, information, step)
        settled[moving] = size < REFIT_SETTLED**2
        going = size >= REFIT_SETTLED**2  # false of NaN
        moving, before = moving[going], value[going]
        if not len(moving):
            break
        trial = beta[moving] + step[going]
        value, score, information = together(left_out[moving], trial)
        climbs = value >= before - 1e-12 * (1 + np.abs(before))
        moving, value, score, information = moving[climbs], value[climbs], score[climbs], information[climbs]
        beta[moving] = trial[climbs]
    return beta, settled


class _Together:
    """Penalised partial likelihoods, Efron ties, of the same data without one group or another; call with several β."""

    def __init__(self, months: np.ndarray, failed: np.ndarray, z: np.ndarray, group: np.ndarray):
        last = at_last_failure(months, failed)
        # Those followed longest first, and at a time those that fail before those that leave.
        order = np.lexsort((~failed, -last))
        order = order[last[order] >= 0]
        last, failed = last[order], failed[order]
        self.z, self.group, self.failing = np.ascontiguousarray(z[order].T), group[order], np.flatnonzero(failed)
        self.pairs = (self.z.T[:, :, None] * self.z.T[:, None, :]).reshape(len(order), -1)
        # Of each time where its rows begin, those at risk on top of those at risk later; and where its failures do.
        self.begins = np.flatnonzero(np.diff(last, prepend=last[0] + 1))
        self.n_leaving = np.diff(np.r_[self.begins, len(last)])
        self.ties = np.flatnonzero(np.diff(last[failed], prepend=last[0] + 1))
        self.time = np.searchsorted(-last[failed][self.ties], -last[failed])

    def __call__(self, left_out: np.ndarray, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Values, shape (n_fits,), scores (n_fits, p) and information (n_fits, p, p) at β, shape (n_fits, p).

        The value is -inf where the information is singular, or a hazard leaves the range of numbers.
        """
        n_fits, p = beta.shape
        log_hazard = beta @ self.z
        hazard = np.exp(np.clip(log_hazard, -700, 700)) * (self.group != left_out[:, None])
        failing = self.group[self.failing] != left_out[:, None]  # those failures that are still there
        before = np.cumsum(failing, axis=1) - failing
        tied = np.add.reduceat(failing, self.ties, axis=1, dtype=int)[:, self.time]
        gone = (before - before[:, self.ties][:, self.time]) / np.maximum(tied, 1)

        def at_risk(values: np.ndarray) -> np.ndarray:
            """Sums over those at risk at each failure, a share of the tied ones taken out; (n_fits, n_failures)."""
            here = np.cumsum(np.add.reduceat(values, self.begins, axis=1), axis=1)
            own = np.add.reduceat(values[:, self.failing], self.ties, axis=1)
            return here[:, self.time] - gone * own[:, self.time]

        s0 = np.where(failing, at_risk(hazard), 1.0)
        mean_z = [failing * at_risk(hazard * column) / s0 for column in self.z]
        # As in `PartialLikelihood`: sums of 1 / s0 and of z̄ / s0 over the slots of each implant, less the tied ones'.
        share = failing / s0
        weight = hazard * self._over_slots(share)
        weight[:, self.failing] -= hazard[:, self.failing] * self._tied(gone * share)
        means = np.stack(mean_z, axis=2)
        information = (weight @ self.pairs).reshape(n_fits, p, p) - means.transpose(0, 2, 1) @ means
        log_det, inverse = _log_det_and_inverse(information)
        value = (failing * log_hazard[:, self.failing]).sum(1) - (failing * np.log(s0)).sum(1) + log_det / 2
        value[np.abs(log_hazard).max(axis=1) > LARGEST_LOG_HAZARD] = -np.inf

        # See `PartialLikelihood.log_det_gradient`: q = z' I⁻¹ z of each implant.
        q, pull = np.zeros_like(hazard), np.zeros_like(hazard)
        for j, column in enumerate(self.z):
            turned = inverse[:, j] @ self.z
            q += turned * column
            pull += turned * self._over_slots(share * mean_z[j])
            pull[:, self.failing] -= turned[:, self.failing] * self._tied(gone * share * mean_z[j])
        mean_q = at_risk(hazard * q) / s0
        lift = 2 * np.einsum("gsi,gij,gsj->gs", means, inverse, means, optimize=True) - mean_q
        gradient = (q * weight - 2 * hazard * pull) @ self.z.T + np.einsum("gs,gsj->gj", lift, means)
        score = failing @ self.z[:, self.failing].T - means.sum(axis=1) + gradient / 2
        return value, score, information

    def _over_slots(self, values: np.ndarray) -> np.ndarray:
        """Of each implant the sum over the failures at which it was at risk; (n_fits, n) of (n_fits, n_failures)."""
        at_times = np.add.reduceat(values, self.ties, axis=1)
        return np.repeat(np.cumsum(at_times[:, ::-1], axis=1)[:, ::-1], self.n_leaving, axis=1)

    def _tied(self, values: np.ndarray) -> np.ndarray:
        """Of each failure the sum over those at its time; both of shape (n_fits, n_failures)."""
        return np.add.reduceat(values, self.ties, axis=1)[:, self.time]


def _log_det_and_inverse(information: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Log determinants and inverses of information matrices; -inf and NaN where one is nearly singular."""
    scale = np.sqrt(np.maximum(np.einsum("gii->gi", information), 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        scaled = information / (scale[:, :, None] * scale[:, None, :])
    sound = np.isfinite(scaled).all(axis=(1, 2))
    sound[sound] = np.linalg.eigvalsh(scaled[sound])[:, 0] > SINGULAR
    log_det, inverse = np.full(len(information), -np.inf), np.full_like(information, np.nan)
    log_det[sound], inverse[sound] = np.linalg.slogdet(information[sound])[1], np.linalg.inv(information[sound])
    return log_det, inverse
