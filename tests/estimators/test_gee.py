"""Logistic GEE: statsmodels as a second opinion, the textbook matrices, invariances, and what cannot be fitted."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liftseries.estimators.gee import HELD, INDEPENDENCE, logistic_gee
from liftseries.estimators.intervals import NotFitted


def simulated(n_patients, seed, slope=0.8):
    """Design with a constant and two covariates, events and patients; 1-4 sites a patient."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(n_patients), rng.integers(1, 5, n_patients))
    x = np.column_stack([np.ones(len(patient)), rng.normal(size=(len(patient), 2))])
    log_odds = -0.7 + slope * x[:, 1] + rng.normal(0, 1, n_patients)[patient]
    return x, rng.random(len(patient)) < 1 / (1 + np.exp(-log_odds)), patient


@pytest.mark.parametrize(("few_clusters", "cov_type"), [(0, "robust"), (10**9, "bias_reduced")])
@pytest.mark.parametrize("n_patients", [25, 150])
def test_statsmodels_agrees(n_patients, few_clusters, cov_type):
    from statsmodels.genmod.cov_struct import Exchangeable
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_estimating_equations import GEE

    x, event, patient = simulated(n_patients, seed=n_patients)
    ours = logistic_gee(x, event, patient, few_clusters)
    model = GEE(event.astype(float), x, groups=patient, family=Binomial(), cov_struct=Exchangeable())
    theirs = model.fit(maxiter=500, ctol=1e-13, cov_type=cov_type, params_niter=1)
    np.testing.assert_allclose(ours.coefficients, theirs.params, rtol=1e-7)
    np.testing.assert_allclose(ours.covariance, theirs.cov_params(), rtol=1e-6)
    assert ours.alpha == pytest.approx(float(model.cov_struct.dep_params), rel=1e-7)


def test_the_sums_equal_the_textbook_matrices():
    """Liang and Zeger's equations and Mancl and DeRouen's covariance with every patient's full matrices."""
    x, event, patient = simulated(30, seed=3)
    fit = logistic_gee(x, event, patient)
    mu = 1 / (1 + np.exp(-x @ fit.coefficients))
    information, score, blocks = 0, 0, []
    for i in np.unique(patient):
        k = patient == i
        a = mu[k] * (1 - mu[k])
        r = np.full((k.sum(), k.sum()), fit.alpha) + (1 - fit.alpha) * np.eye(k.sum())
        v_inverse = np.linalg.inv(np.sqrt(a)[:, None] * r * np.sqrt(a))
        d = a[:, None] * x[k]
        blocks.append((d, v_inverse, event[k] - mu[k]))
        information = information + d.T @ v_inverse @ d
        score = score + d.T @ v_inverse @ (event[k] - mu[k])
    np.testing.assert_allclose(score, 0, atol=1e-9)
    bread = np.linalg.inv(information)
    meat = 0
    for d, v_inverse, residual in blocks:
        leverage = d @ bread @ d.T @ v_inverse
        u = d.T @ v_inverse @ np.linalg.solve(np.eye(len(residual)) - leverage, residual)
        meat = meat + np.outer(u, u)
    np.testing.assert_allclose(fit.covariance, bread @ meat @ bread, rtol=1e-8)
    assert fit.df == 27


def test_one_site_a_patient_is_ordinary_logistic_regression():
    """2 of 20 and 8 of 20 perforated: log odds ratio log(8·18 / (12·2)), robust SE √(1/2 + 1/18 + 1/8 + 1/12)."""
    guided = np.repeat([0.0, 1.0], 20)
    event = np.r_[np.arange(20) < 2, np.arange(20) < 8]
    fit = logistic_gee(np.column_stack([np.ones(40), guided]), event, np.arange(40), few_clusters=0)
    assert fit.alpha == 0
    assert fit.coefficients[1] == pytest.approx(np.log(8 * 18 / (12 * 2)))
    assert fit.std_error[1] == pytest.approx(np.sqrt(1 / 2 + 1 / 18 + 1 / 8 + 1 / 12))


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), scale=st.floats(0.01, 1000), shift=st.floats(-100, 100))
def test_units_order_and_names_of_patients_do_not_matter(seed, scale, shift):
    x, event, patient = simulated(60, seed, slope=0.3)
    fit = logistic_gee(x, event, patient)
    shuffled = np.random.default_rng(seed).permutation(len(event))
    moved = x.copy()
    moved[:, 1] = shift + scale * x[:, 1]
    again = logistic_gee(moved[shuffled], event[shuffled], np.array([f"P{i}" for i in 1000 - patient])[shuffled])
    assert again.coefficients[1] * scale == pytest.approx(fit.coefficients[1], rel=1e-6, abs=1e-8)
    assert again.coefficients[2] == pytest.approx(fit.coefficients[2], rel=1e-6, abs=1e-8)
    np.testing.assert_allclose(again.std_error[1:] * [scale, 1], fit.std_error[1:], rtol=1e-6)


def test_mirrored_outcome_mirrors_the_coefficients():
    x, event, patient = simulated(80, seed=11)
    fit, mirrored = logistic_gee(x, event, patient), logistic_gee(x, ~event, patient)
    np.testing.assert_allclose(mirrored.coefficients, -fit.coefficients, rtol=1e-8)
    np.testing.assert_allclose(mirrored.std_error, fit.std_error, rtol=1e-8)


def test_patients_who_agree_with_each_other_are_held_inside_the_admissible_range():
    """Both sites of each patient are alike: the moment estimate of alpha is above 1."""
    event = np.repeat(np.arange(30) < 9, 2)
    fit = logistic_gee(np.ones((60, 1)), event, np.repeat(np.arange(30), 2))
    assert fit.remark == HELD
    assert fit.alpha < 1
    assert fit.coefficients[0] == pytest.approx(np.log(9 / 21))


def test_no_single_patient_decides_where_sites_of_a_patient_are_less_alike_than_chance():
    """8 patients with one site, 2 with two, none perforated, and one with three of which one is.

    The moment estimate of alpha is near -1/2, the lowest that three sites can have: with it the rate would be the
    last patient's 1/3. Working independence leaves the share of sites, 1/15, and the sandwich of the ratio.
    """
    patient = np.array([*range(8), 8, 8, 9, 9, 10, 10, 10])
    event = np.arange(15) == 14
    fit = logistic_gee(np.ones((15, 1)), event, patient, few_clusters=0)
    assert fit.remark == INDEPENDENCE
    assert fit.alpha == 0
    risk = 1 / (1 + np.exp(-fit.coefficients[0]))
    assert risk == pytest.approx(1 / 15)
    sums = np.bincount(patient, weights=event - 1 / 15)
    assert fit.std_error[0] == pytest.approx(np.sqrt(sums @ sums) / (15 * risk * (1 - risk)))


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000), n_patients=st.integers(3, 40))
def test_a_constant_alone_always_settles(seed, n_patients):
    """Any mixture of patients with and without events gives a rate between the lowest and highest patient's."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(n_patients), rng.integers(1, 5, n_patients))
    event = rng.random(len(patient)) < 0.15
    event[:2] = [True, False]
    fit = logistic_gee(np.ones((len(patient), 1)), event, patient, few_clusters=0)
    assert 0 < 1 / (1 + np.exp(-fit.coefficients[0])) < 1
    assert 1 + (np.bincount(patient).max() - 1) * fit.alpha >= 0.1 - 1e-12


@pytest.mark.parametrize(
    ("x", "event", "patient", "words"),
    [
        ([[1]] * 4, [0, 0, 0, 0], [1, 2, 3, 4], "no site had the event"),
        ([[1]] * 4, [1, 1, 1, 1], [1, 2, 3, 4], "every site had the event"),
        ([[1]] * 4, [0, 1, 0, 1], [1, 1, 1, 1], "too few"),
        ([[1, 1], [1, 2], [1, 3], [1, 4]], [0, 1, 0, 1], [1, 1, 2, 2], "too few"),
        ([[1, v] for v in range(8)], [0, 0, 0, 0, 1, 1, 1, 1], range(8), "tell sites with and without"),
        ([[1, 1], *[[1, 0]] * 5, [1, 1]], [1, 1, 0, 0, 1, 0, 0], [0, 1, 2, 3, 4, 5, 0], "one patient alone"),
    ],
)
def test_what_cannot_be_fitted_is_said_in_words(x, event, patient, words):
    with pytest.raises(NotFitted, match=words):
        logistic_gee(np.array(x, float), np.array(event, bool), np.array(list(patient)))


def test_admissible_solution_is_kept_though_the_way_to_it_is_not():
    """Negative correlation just inside the limit: the first steps lie beyond it. Oracle: statsmodels."""
    from statsmodels.genmod.cov_struct import Exchangeable
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_estimating_equations import GEE

    patients = [(0,)] * 15 + [(0, 0), (0, 0, 0)] + [(0, 1)] * 3 + [(0, 1, 0)] + [(1,)] * 2 + [(1, 0)]
    y = np.array([site for patient in patients for site in patient], float)
    cluster = np.array([number for number, patient in enumerate(patients) for _ in patient])
    x = np.ones((len(y), 1))
    ours = logistic_gee(x, y == 1, cluster)
    theirs = GEE(y, x, groups=cluster, family=Binomial(), cov_struct=Exchangeable()).fit(maxiter=500, ctol=1e-12)
    assert ours.remark == ""
    assert ours.alpha == pytest.approx(theirs.cov_struct.dep_params, rel=1e-8)
    assert ours.coefficients == pytest.approx(theirs.params, rel=1e-8)


@pytest.mark.parametrize("n_patients", [25, 150])
def test_every_covariance_is_at_hand_whatever_the_number_of_patients(n_patients):
    """Oracle: statsmodels' robust, bias-reduced and naive covariance of the same fit."""
    from statsmodels.genmod.cov_struct import Exchangeable
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_estimating_equations import GEE

    x, event, patient = simulated(n_patients, seed=n_patients)
    fit = logistic_gee(x, event, patient)
    model = GEE(event.astype(float), x, groups=patient, family=Binomial(), cov_struct=Exchangeable())
    ours = {"robust": fit.sandwich, "bias_reduced": fit.bias_reduced(), "naive": fit.model_covariance}
    for kind, covariance in ours.items():
        theirs = model.fit(maxiter=500, ctol=1e-13, cov_type=kind, params_niter=1).cov_params()
        np.testing.assert_allclose(covariance, theirs, rtol=1e-6)
    larger = np.maximum(np.diag(fit.bias_reduced()), np.diag(fit.model_covariance))
    np.testing.assert_allclose([fit.corrected_variance(row) for row in np.eye(3)], larger)


def test_a_patient_who_alone_determines_a_coefficient_leaves_the_sandwich():
    x = np.array([[1, 1], *[[1, 0]] * 5, [1, 1]], float)
    fit = logistic_gee(x, np.array([1, 1, 0, 0, 1, 0, 0], bool), np.array([0, 1, 2, 3, 4, 5, 0]), few_clusters=0)
    assert np.isfinite(fit.std_error).all()
    with pytest.raises(NotFitted, match="one patient alone"):
        fit.corrected_variance(np.array([0.0, 1.0]))
