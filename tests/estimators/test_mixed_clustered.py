"""The patients' sandwich of a mixed model: full matrices, least squares, and what a patient left out would do."""

import numpy as np
import pytest
from test_mixed import covariance_of, simulated

from liftseries.estimators.mixed import mixed_reml
from liftseries.estimators.mixed_clustered import patient_influence


def with_full_matrices(fit, y, x, patient, site):
    """(X'V⁻¹X)⁻¹ Σ X_k'V_k⁻¹r_k r_k'V_k⁻¹X_k (X'V⁻¹X)⁻¹, every matrix written out."""
    v = covariance_of(fit, patient, site)
    bread = np.linalg.inv(x.T @ np.linalg.inv(v) @ x)
    residual = y - x @ fit.coefficients
    meat = np.zeros_like(bread)
    for one in np.unique(patient):
        rows = patient == one
        score = x[rows].T @ np.linalg.inv(v[np.ix_(rows, rows)]) @ residual[rows]
        meat += np.outer(score, score)
    return bread @ meat @ bread


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("with_patient", [True, False])
@pytest.mark.parametrize("with_site", [True, False])
def test_sums_equal_the_full_matrices(seed, with_patient, with_site):
    y, x, patient, site = simulated(25, seed)
    order = np.random.default_rng(seed).permutation(len(y))
    y, x, patient, site = y[order], x[order], patient[order], site[order]
    fit = mixed_reml(y, x, patient if with_patient else None, site if with_site else None)
    influence = patient_influence(fit, y, x, patient, site)
    assert influence.shape == (25, 3)
    np.testing.assert_allclose(influence.T @ influence, with_full_matrices(fit, y, x, patient, site), rtol=1e-8)
    np.testing.assert_allclose(influence.sum(axis=0), 0, atol=1e-8)


def test_without_intercepts_it_is_least_squares_by_patients():
    from statsmodels.regression.linear_model import OLS

    y, x, patient, site = simulated(30, seed=4)
    influence = patient_influence(mixed_reml(y, x), y, x, patient, site)
    theirs = OLS(y, x).fit(cov_type="cluster", cov_kwds={"groups": patient, "use_correction": False})
    np.testing.assert_allclose(influence.T @ influence, theirs.cov_params(), rtol=1e-8)
