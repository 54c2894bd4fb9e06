"""Cox model: Efron's sums written out slowly, lifelines as a second opinion, weights differentiated, refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liftseries.estimators import cox
from liftseries.estimators.cox import PartialLikelihood, cox_regression
from liftseries.estimators.intervals import NotFitted


def simulated(n_patients, seed, ties=True):
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(n_patients), rng.integers(1, 4, n_patients))
    x = np.column_stack([rng.normal(5, 1.5, len(patient)), rng.random(len(patient)) < 0.4]).astype(float)
    months = rng.exponential(25 * np.exp(-0.3 * (x[:, 0] - 5) + rng.normal(0, 0.5, n_patients)[patient]))
    failed = rng.random(len(patient)) < 0.5
    return (np.ceil(months / 3) if ties else months), failed, x, patient


def slow_efron(months, failed, x, beta):
    """Score residuals and information, slot by slot, as Efron's likelihood is written."""
    r = np.exp(x @ beta)
    residual, information = np.zeros_like(x), np.zeros((x.shape[1],) * 2)
    for t in np.unique(months[failed]):
        at_risk, dead = months >= t, (months == t) & failed
        d = dead.sum()
        for slot in range(d):
            weight = r * at_risk * (1 - slot / d * dead)
            mean = weight @ x / weight.sum()
            information += (x.T * weight) @ x / weight.sum() - np.outer(mean, mean)
            residual -= weight[:, None] / weight.sum() * (x - mean)
            residual[dead] += (x[dead] - mean) / d
    return residual, information


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_cumulative_sums_equal_efrons_slots(seed):
    months, failed, x, patient = simulated(40, seed)
    assert len(np.unique(months[failed])) < failed.sum()  # ties there are
    fit = cox_regression(months, failed, x, patient)
    residual, information = slow_efron(months, failed, x, fit.coefficients)
    np.testing.assert_allclose(residual.sum(0), 0, atol=1e-8)
    naive = np.linalg.inv(information)
    np.testing.assert_allclose(fit.naive_std_error, np.sqrt(np.diag(naive)), rtol=1e-8)
    sums = np.array([residual[patient == i].sum(0) for i in np.unique(patient)])
    np.testing.assert_allclose(fit.covariance, naive @ sums.T @ sums @ naive, rtol=1e-7)


def test_score_residuals_stand_in_the_order_of_the_data():
    months, failed, x, _ = simulated(40, seed=6)
    likelihood, beta = PartialLikelihood(months, failed, x), np.array([-0.2, 0.4])
    state = likelihood(beta)
    residual, information = slow_efron(months, failed, x, beta)
    np.testing.assert_allclose(likelihood.score_residuals(state), residual, atol=1e-10)
    np.testing.assert_allclose(state.score, residual.sum(axis=0), atol=1e-9)
    np.testing.assert_allclose(state.information, information, rtol=1e-9)


@pytest.mark.parametrize("ties", [True, False])
def test_the_log_determinant_changes_by_its_gradient(ties):
    months, failed, x, _ = simulated(30, 9, ties)
    x = x - x.mean(axis=0)
    likelihood, beta, h = PartialLikelihood(months, failed, x), np.array([-0.2, 0.4]), 1e-5
    state = likelihood(beta)
    gradient = likelihood.log_det_gradient(state, np.linalg.inv(state.information))
    ends = [
        [np.linalg.slogdet(slow_efron(months, failed, x, beta + by)[1])[1] for by in h * np.eye(2) * sign]
        for sign in (1, -1)
    ]
    np.testing.assert_allclose(gradient, np.subtract(*ends) / (2 * h), rtol=1e-6)


def test_lifelines_agrees_on_the_coefficients():
    """Coefficients and naive SE only: its clustered SE drops the Efron weights under ties."""
    import pandas as pd
    from lifelines import CoxPHFitter

    months, failed, x, patient = simulated(80, seed=4)
    table = pd.DataFrame({"a": x[:, 0], "b": x[:, 1], "months": months, "failed": failed})
    theirs = CoxPHFitter().fit(table, "months", "failed", fit_options={"precision": 1e-10})
    fit = cox_regression(months, failed, x, patient)
    np.testing.assert_allclose(fit.coefficients, theirs.params_, rtol=1e-6)
    np.testing.assert_allclose(fit.naive_std_error, theirs.standard_errors_, rtol=1e-6)
    assert fit.log_likelihood == pytest.approx(theirs.log_likelihood_, rel=1e-9)


def test_without_ties_the_sandwich_is_the_derivative_by_the_patients_weights():
    """d β / d w of a weighted partial likelihood, each patient's weight moved a little."""
    months, failed, x, patient = simulated(20, seed=5, ties=False)
    fit = cox_regression(months, failed, x, patient)

    def weighted_beta(weight):
        beta = fit.coefficients.copy()
        for _ in range(8):
            r = weight * np.exp(x @ beta)
            score, information = np.zeros(2), np.zeros((2, 2))
            for i in np.flatnonzero(failed):
                w = r * (months >= months[i])
                mean = w @ x / w.sum()
                score += weight[i] * (x[i] - mean)
                information += weight[i] * ((x.T * w) @ x / w.sum() - np.outer(mean, mean))
            beta = beta + np.linalg.solve(information, score)
        return beta

    h = 1e-5
    moves = [
        (weighted_beta(1 + h * (patient == i)) - weighted_beta(1 - h * (patient == i))) / (2 * h)
        for i in np.unique(patient)
    ]
    np.testing.assert_allclose(fit.covariance, np.transpose(moves) @ moves, rtol=1e-6)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), scale=st.floats(0.01, 100), shift=st.floats(-1000, 1000))
def test_units_and_order_do_not_matter(seed, scale, shift):
    months, failed, x, patient = simulated(50, seed)
    fit = cox_regression(months, failed, x, patient)
    order = np.random.default_rng(seed).permutation(len(months))
    moved = x * [scale, 1] + [shift, 0]
    again = cox_regression(2 * months[order] + 1, failed[order], moved[order], patient[order])
    np.testing.assert_allclose(again.coefficients * [scale, 1], fit.coefficients, rtol=1e-5, atol=1e-8)
    np.testing.assert_allclose(again.std_error * [scale, 1], fit.std_error, rtol=1e-5)


def test_implants_that_fail_in_the_order_of_their_covariate_have_no_finite_answer():
    """x = 3, 2, 1 fail in that order: the larger β, the likelier."""
    with pytest.raises(NotFitted, match=r"not finite|did not settle"):
        cox_regression(np.array([1.0, 2.0, 3.0]), np.array([True, True, True]), np.array([[3.0], [2], [1]]), [1, 2, 3])


def test_three_implants_with_a_closed_answer():
    """Failures in the order x = 0, 1, 0: β - log(2 + e^β) - log(1 + e^β) is largest at e^β = √2."""
    fit = cox_regression(np.array([1.0, 2, 3]), np.ones(3, bool), np.array([[0.0], [1], [0]]), [1, 2, 3])
    assert fit.coefficients[0] == pytest.approx(np.log(2) / 2, rel=1e-9)
    assert fit.log_likelihood_null == pytest.approx(-np.log(6))
    assert fit.n_clusters == 3


def test_steps_that_do_not_settle_are_counted_in_words(monkeypatch):
    monkeypatch.setattr(cox, "MAX_ITERATIONS", 2)
    with pytest.raises(NotFitted, match="the partial likelihood did not settle within 2 steps"):
        cox_regression(np.array([1.0, 2, 3]), np.ones(3, bool), np.array([[0.0], [1], [0]]), [1, 2, 3])


def test_terms_that_differ_only_when_nobody_fails_cannot_be_told_apart():
    """Both columns vary, but among those at risk at the only failures they are the same."""
    x = np.array([[1.0, 0], [0, 0], [1, 1], [0, 0], [1, 1]])
    months, failed = np.array([1.0, 2, 9, 9, 5]), np.array([False, False, False, True, True])
    with pytest.raises(NotFitted, match="tell the terms apart"):
        cox_regression(months, failed, x, np.arange(5))


@pytest.mark.parametrize("alike", [0.3, 1.0, 5.7, 2019.0])
def test_a_term_alike_from_the_first_failure_on_tells_nothing_whatever_rounding_leaves_of_it(alike):
    """Only implants that had left by then differ; in one series of eight rounding left a log hazard ratio of 0."""
    for seed in range(40):
        rng = np.random.default_rng(seed)
        early, late = rng.integers(1, 12), rng.integers(2, 12)
        x = np.r_[alike + rng.normal(0, 1, early), np.full(late, alike)][:, None]
        months = np.r_[rng.uniform(1, 5, early), np.ceil(rng.uniform(6, 30, late))]
        with pytest.raises(NotFitted, match="tell the terms apart"):
            cox_regression(months, months > 5, x, np.arange(len(x)))


@pytest.mark.parametrize(
    ("failed", "patient", "words"),
    [([False] * 4, [1, 2, 3, 4], "no implant used has failed"), ([True] * 4, [1, 1, 1, 1], "too few")],
)
def test_what_cannot_be_fitted_is_said_in_words(failed, patient, words):
    x = np.array([[1.0], [0], [2], [1]])
    with pytest.raises(NotFitted, match=words):
        cox_regression(np.array([1.0, 2, 3, 4]), np.array(failed), x, patient)
