"""Influence of a patient on a mixed model with its variances refitted: against a weighted second implementation."""

import numpy as np
import pytest

from liftseries.estimators.mixed import mixed_reml
from liftseries.estimators.mixed_influence import refitted_influence

STEP = 1e-4
WIDTH = 1e-3  # of the log ratios of variances, for numeric gradients


def derivative(estimate, n: int, rows) -> np.ndarray:
    """Central differences of a weighted estimate in the weight of some patients, one at a time."""
    moved = [np.where(np.arange(n) == row, STEP, 0.0) for row in rows]
    return np.array([(estimate(1 + one) - estimate(1 - one)) / (2 * STEP) for one in moved])


@pytest.mark.parametrize(("with_patient", "with_site"), [(True, True), (True, False), (False, True), (False, False)])
def test_mixed_models_refit_their_variances(with_patient, with_site):
    rng = np.random.default_rng(9)
    patient = np.repeat(np.arange(14), rng.integers(2, 7, 14))
    site = patient * 10 + rng.integers(0, 3, len(patient))
    x = np.column_stack([np.ones(len(patient)), rng.normal(0, 1, len(patient)), rng.random(14)[patient]])
    y = (
        x @ [1, 0.4, -0.3]
        + rng.normal(0, 0.9, 14)[patient]
        + rng.normal(0, 0.8, 200)[site]
        + rng.normal(0, 0.6, len(x))
    )
    fit = mixed_reml(y, x, patient if with_patient else None, site if with_site else None)
    influence = refitted_influence(fit, y, x, patient, site if with_site else np.arange(len(y)))
    start = [fit.patient_variance, fit.site_variance]
    start = np.array([np.nan_to_num(one) / fit.residual_variance for one in start])

    def estimate(w, free=(with_patient, with_site)):
        return reml(y, x, patient, site, w, start, np.array(free))

    np.testing.assert_allclose(estimate(np.ones(14)), fit.coefficients, atol=1e-7)
    rows = range(0, 14, 3)
    np.testing.assert_allclose(influence[rows], derivative(estimate, 14, rows), atol=2e-6)


def reml(y, x, patient, site, w, start, free):
    """Weighted restricted likelihood with whole matrices; Newton on the log ratios from numeric gradients."""

    def pieces(log_gamma):
        gamma = np.where(free, np.exp(log_gamma), 0.0)
        xx, xy, yy, log_det = 0.0, 0.0, 0.0, 0.0
        for k in np.unique(patient):
            own = patient == k
            alike = site[own][:, None] == site[own][None, :]
            v = np.eye(own.sum()) + gamma[0] + gamma[1] * alike
            inverse = np.linalg.inv(v)
            xx = xx + w[k] * x[own].T @ inverse @ x[own]
            xy = xy + w[k] * x[own].T @ inverse @ y[own]
            yy = yy + w[k] * y[own] @ inverse @ y[own]
            log_det = log_det + w[k] * np.linalg.slogdet(v)[1]
        beta = np.linalg.solve(xx, xy)
        df = w[patient].sum() - x.shape[1]
        return df * np.log(yy - xy @ beta) + log_det + np.linalg.slogdet(xx)[1], beta

    at = np.log(np.maximum(start, 1e-12))
    if free.any():
        index = np.flatnonzero(free)
        for _ in range(8):

            def moved(a, b=None, sign=1):
                step = np.zeros(2)
                step[a] += WIDTH
                if b is not None:
                    step[b] += sign * WIDTH
                return step

            gradient = [(pieces(at + moved(a))[0] - pieces(at - moved(a))[0]) / (2 * WIDTH) for a in index]
            hessian = np.array(
                [
                    [
                        (
                            pieces(at + moved(a, b))[0]
                            - pieces(at + moved(a, b, -1))[0]
                            - pieces(at - moved(a, b, -1))[0]
                            + pieces(at - moved(a, b))[0]
                        )
                        / (4 * WIDTH**2)
                        for b in index
                    ]
                    for a in index
                ]
            )
            at[index] -= np.linalg.solve(hessian, gradient)
    return pieces(at)[1]
