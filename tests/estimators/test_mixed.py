"""REML mixed model: the textbook likelihood with full matrices, the optimum, balanced designs by hand, boundaries."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.mixed import _hessian, _Reml, mixed_reml


def simulated(n_patients, seed, patient_sd=0.6, site_sd=0.4):
    rng = np.random.default_rng(seed)
    site_patient = np.repeat(np.arange(n_patients), rng.integers(1, 4, n_patients))
    site = np.repeat(np.arange(len(site_patient)), rng.integers(1, 4, len(site_patient)))
    patient = site_patient[site]
    x = np.column_stack([np.ones(len(site)), rng.normal(4, 1, len(site)), rng.random(len(site)) < 0.5])
    y = x @ [1, 0.5, -0.2] + rng.normal(0, patient_sd, n_patients)[patient]
    y = y + rng.normal(0, site_sd, len(site_patient))[site] + rng.normal(0, 0.5, len(site))
    return y, x.astype(float), patient, site


def covariance_of(fit, patient, site):
    same_patient, same_site = patient[:, None] == patient, site[:, None] == site
    parts = np.nan_to_num([fit.patient_variance, fit.site_variance])
    return parts[0] * same_patient + parts[1] * same_site + fit.residual_variance * np.eye(len(site))


def full_log_likelihood(v, y, x):
    """Restricted log-likelihood with the full covariance matrix (Harville 1977)."""
    inverse = np.linalg.inv(v)
    information = x.T @ inverse @ x
    residual = y - x @ np.linalg.solve(information, x.T @ inverse @ y)
    log_dets = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1]
    df = len(y) - x.shape[1]
    return -0.5 * (df * np.log(2 * np.pi) + log_dets + residual @ inverse @ residual)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_sums_equal_the_full_matrices(seed):
    y, x, patient, site = simulated(25, seed)
    fit = mixed_reml(y, x, patient, site)
    v = covariance_of(fit, patient, site)
    inverse = np.linalg.inv(v)
    covariance = np.linalg.inv(x.T @ inverse @ x)
    np.testing.assert_allclose(fit.covariance, covariance, rtol=1e-8)
    np.testing.assert_allclose(fit.coefficients, covariance @ x.T @ inverse @ y, rtol=1e-8)
    assert fit.log_likelihood == pytest.approx(full_log_likelihood(v, y, x), rel=1e-10)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("patient_sd", "site_sd"), [(0.6, 0.4), (0.0, 0.4), (0.6, 0.0), (0.0, 0.0)])
def test_no_neighbouring_variances_are_likelier(seed, patient_sd, site_sd):
    y, x, patient, site = simulated(20, seed, patient_sd, site_sd)
    fit = mixed_reml(y, x, patient, site)
    best = full_log_likelihood(covariance_of(fit, patient, site), y, x)
    same_patient, same_site = patient[:, None] == patient, site[:, None] == site
    for step in (-1e-3, 1e-3):
        for part, same in ((fit.patient_variance, same_patient), (fit.site_variance, same_site)):
            if part + step >= 0:
                moved = covariance_of(fit, patient, site) + step * same
                assert full_log_likelihood(moved, y, x) < best


@pytest.mark.parametrize("with_patient", [True, False])
@pytest.mark.parametrize("with_site", [True, False])
def test_gradient_is_the_derivative_of_the_criterion(with_patient, with_site):
    y, x, patient, site = simulated(15, seed=9)
    criterion = _Reml(x, y, patient if with_patient else None, site if with_site else None)
    at = np.array([0.7, 0.4])[: len(criterion.intercepts)]
    for j in range(len(at)):
        move = np.zeros(len(at))
        move[j] = 1e-6
        slope = (criterion(at + move)[0] - criterion(at - move)[0]) / 2e-6
        assert criterion(at)[1][j] == pytest.approx(slope, rel=1e-6)
        slope = (criterion.by_share(at + move)[0] - criterion.by_share(at - move)[0]) / 2e-6
        assert criterion.by_share(at)[1][j] == pytest.approx(slope, rel=1e-5)


@pytest.mark.parametrize("at", [[0.5, 0.25], [0.0, 0.25], [0.0, 1 - 1e-7]])
def test_second_derivatives_of_a_quadratic_are_its_matrix_up_to_both_bounds(at):
    matrix = np.array([[3.0, -1.0], [-1.0, 2.0]])
    found = _hessian(lambda x: (x @ matrix @ x / 2, matrix @ x), np.array(at))
    np.testing.assert_allclose(found, matrix, rtol=1e-3)


def test_balanced_sites_are_the_analysis_of_variance():
    """4 patients with 3 sites each: REML gives MS within, and (MS between - MS within) / 3."""
    y = np.array([1.0, 1.2, 1.4, 2.0, 2.3, 1.9, 0.5, 0.9, 0.6, 1.5, 1.1, 1.6])
    patient = np.repeat(np.arange(4), 3)
    means = y.reshape(4, 3).mean(1)
    within = ((y - means[patient]) ** 2).sum() / 8
    between = 3 * ((means - y.mean()) ** 2).sum() / 3
    fit = mixed_reml(y, np.ones((12, 1)), patient)
    assert fit.coefficients[0] == pytest.approx(y.mean())
    assert fit.residual_variance == pytest.approx(within, rel=1e-9)
    assert fit.patient_variance == pytest.approx((between - within) / 3, rel=1e-9)
    assert fit.std_error[0] == pytest.approx(np.sqrt(between / 12), rel=1e-9)
    # Total variance = MSB/3 + 2 MSW/3 with 3 and 8 degrees of freedom: its variance is Σ 2 c² MS² / df.
    variance = 2 * (between / 3) ** 2 / 3 + 2 * (2 * within / 3) ** 2 / 8
    assert fit.total_variance_log_se == pytest.approx(np.sqrt(variance) / fit.total_variance, rel=1e-5)


def test_patients_less_alike_than_chance_give_a_variance_of_zero():
    """Every patient has a high and a low site: MS between is below MS within."""
    y = np.tile([0.0, 2.0, 4.0], 4) + np.repeat([0.0, 0.1, 0.0, 0.1], 3)
    fit = mixed_reml(y, np.ones((12, 1)), np.repeat(np.arange(4), 3))
    assert fit.patient_variance == 0
    assert fit.residual_variance == pytest.approx(y.var(ddof=1))
    assert np.isnan(fit.total_variance_log_se)


def test_without_random_intercepts_it_is_least_squares():
    y, x, _, _ = simulated(10, seed=4)
    fit = mixed_reml(y, x)
    beta, rss, *_ = np.linalg.lstsq(x, y)
    np.testing.assert_allclose(fit.coefficients, beta)
    assert fit.residual_variance == pytest.approx(rss[0] / (len(y) - 3))


def test_statsmodels_agrees_on_one_intercept():
    """Its variances carry 1e-4 or so; the coefficients of an interior optimum follow from them."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    y, x, patient, _ = simulated(60, seed=8)
    theirs = MixedLM(y, x, groups=patient).fit(reml=True)
    fit = mixed_reml(y, x, patient)
    np.testing.assert_allclose(fit.coefficients, theirs.fe_params, rtol=1e-4)
    assert fit.log_likelihood == pytest.approx(theirs.llf, rel=1e-7)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000), scale=st.floats(0.01, 1000))
def test_units_and_order_do_not_matter(seed, scale):
    y, x, patient, site = simulated(15, seed)
    fit = mixed_reml(y, x, patient, site)
    order = np.random.default_rng(seed).permutation(len(y))
    again = mixed_reml(scale * y[order], (x * [1, scale, 1])[order], patient[order], site[order])
    np.testing.assert_allclose(
        again.coefficients, scale * fit.coefficients / [1, scale, 1], rtol=1e-5, atol=1e-8 * scale
    )
    assert again.residual_variance == pytest.approx(scale**2 * fit.residual_variance, rel=1e-5)
    assert again.patient_variance == pytest.approx(scale**2 * fit.patient_variance, rel=1e-4, abs=1e-9 * scale**2)


@pytest.mark.parametrize(
    ("y", "patient", "words"),
    [
        ([1.0, 1.0, 1.0, 1.0], [1, 1, 2, 2], "do not scatter"),
        ([1.0, 1.0, 2.0, 2.0, 3.5, 3.5], [1, 1, 2, 2, 3, 3], "no scatter is left"),
        ([1.0], [1], "too few"),
    ],
)
def test_what_cannot_be_fitted_is_said_in_words(y, patient, words):
    with pytest.raises(NotFitted, match=words):
        mixed_reml(np.array(y), np.ones((len(y), 1)), np.array(patient))
