"""Firth's logistic regression: closed answers, firthmodels as a second opinion, profiles and jackknife done slowly."""

import numpy as np
import pytest
from firthmodels import FirthLogisticRegression
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from liftseries.estimators import firth, patients_left_out
from liftseries.estimators.firth import Point, firth_logistic
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.patients_left_out import (
    MOST_GROUPS,
    firth_logistic_jackknife,
    firth_logistic_refits,
    groups_to_leave_out,
    jackknife_groups,
    jackknife_std_error,
    refit,
)


def simulated(n_patients, seed, separated=False):
    """A constant, a number and a yes/no with events and patients; separated: no event where the yes/no is yes."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(n_patients), rng.integers(1, 4, n_patients))
    n = len(patient)
    x = np.column_stack([np.ones(n), rng.normal(5, 1.5, n), rng.random(n) < 0.3]).astype(float)
    event = rng.random(n) < 1 / (1 + np.exp(1 + 0.4 * (x[:, 1] - 5)))
    return x, event & ~(separated & (x[:, 2] == 1)), patient


def penalised(x, event, beta):
    """The penalised log-likelihood as it is written."""
    eta = x @ beta
    weight = 1 / (2 + np.exp(eta) + np.exp(-eta))
    log_det = np.linalg.slogdet((x.T * weight) @ x)[1]
    return (event * eta - np.logaddexp(0, eta)).sum() + log_det / 2


def test_a_saturated_model_adds_half_an_event_to_each_cell():
    """Firth 1993, section 3.3 (from memory): with Jeffreys' prior log odds are those of counts plus 1/2."""
    guided = np.repeat([0.0, 1.0], [30, 12])
    event = np.r_[np.arange(30) < 7, np.zeros(12, bool)]
    fit = firth_logistic(np.column_stack([np.ones(42), guided]), event)
    assert fit.coefficients[0] == pytest.approx(np.log(7.5 / 23.5))
    assert fit.coefficients[1] == pytest.approx(np.log(0.5 / 12.5) - np.log(7.5 / 23.5))
    assert np.isfinite([*fit.conf_low, *fit.conf_high]).all()
    alone = firth_logistic(np.ones((42, 1)), event)
    assert alone.coefficients[0] == pytest.approx(np.log(7.5 / 35.5))


@pytest.mark.parametrize("separated", [False, True])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_firthmodels_agrees(seed, separated):
    """firthmodels is itself tested against logistf."""
    x, event, _ = simulated(60, seed, separated)
    ours = firth_logistic(x, event)
    theirs = FirthLogisticRegression(backend="numpy", fit_intercept=False, gtol=1e-8, xtol=1e-8, max_iter=500)
    theirs.fit(x, event.astype(int))
    # In standard errors: a coefficient near nought is known to no more digits of its own. Where no step raises the
    # likelihood's last digit any more, firthmodels warns and stops; whether it comes to that differs by machine.
    np.testing.assert_allclose(ours.coefficients / ours.std_error, theirs.coef_ / theirs.bse_, rtol=0, atol=1e-7)
    np.testing.assert_allclose(ours.std_error, theirs.bse_, rtol=1e-7)
    assert ours.log_likelihood == pytest.approx(theirs.loglik_, rel=1e-10)
    limits = theirs.conf_int(method="pl", tol=1e-10, max_iter=200)
    np.testing.assert_allclose(np.column_stack([ours.conf_low, ours.conf_high]), limits, rtol=1e-7)


def test_limits_and_p_values_by_another_search():
    """At a limit the best that the other coefficients can do lies 1.92 below the maximum; p-values likewise at 0."""
    x, event, _ = simulated(40, seed=4, separated=True)
    fit = firth_logistic(x, event)
    spread = np.array([1.0, 1.5, 0.5])
    for j in range(3):
        rest = np.delete(np.arange(3), j)

        def best(value, j=j, rest=rest):
            """The profile at one value, by simplex on columns of like spread."""

            def low(b):
                beta = np.empty(3)
                beta[j], beta[rest] = value, b / spread[rest]
                return -penalised(x, event, beta)

            start = fit.coefficients[rest] * spread[rest]
            return -minimize(low, start, method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-12}).fun

        for limit in (fit.conf_low[j], fit.conf_high[j]):
            assert 2 * (fit.log_likelihood - best(limit)) == pytest.approx(3.841458820694124, abs=1e-6)
        from scipy.stats import chi2

        p_value = chi2.sf(2 * (fit.log_likelihood - best(0.0)), 1)
        assert fit.p_value[j] == pytest.approx(p_value, rel=1e-5, abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), scale=st.floats(0.001, 1000), shift=st.sampled_from([0.0, 2015.0]))
def test_units_do_not_matter_even_for_a_year(seed, scale, shift):
    x, event, patient = simulated(40, seed)
    event[:2] = [True, False]
    fit = firth_logistic(x, event)
    moved = x.copy()
    moved[:, 1] = shift + scale * x[:, 1]
    again = firth_logistic(moved, event)
    for name in ("coefficients", "std_error", "conf_low", "conf_high"):
        ours = getattr(again, name)[1:] * [scale, 1]
        np.testing.assert_allclose(ours, getattr(fit, name)[1:], rtol=1e-5, atol=1e-8)
    np.testing.assert_allclose(again.p_value[1:], fit.p_value[1:], rtol=1e-5)
    one = firth_logistic_jackknife(x, event, patient, fit.coefficients)
    other = firth_logistic_jackknife(moved, event, patient, again.coefficients)
    np.testing.assert_allclose(other[1:] * [scale, 1], one[1:], rtol=1e-5)


def test_a_row_of_many_sites_counts_as_they_do():
    n_sites, n_events = np.array([9, 4, 1, 6]), np.array([2, 3, 0, 1])
    x = np.column_stack([np.ones(4), [0.0, 1, 2, 4]])
    event = np.concatenate([np.arange(n) < k for n, k in zip(n_sites, n_events, strict=True)])
    by_row, by_site = firth_logistic(x, n_events, trials=n_sites), firth_logistic(np.repeat(x, n_sites, axis=0), event)
    for name in ("coefficients", "std_error", "conf_low", "conf_high", "p_value", "covariance", "log_likelihood"):
        assert getattr(by_row, name) == pytest.approx(getattr(by_site, name), rel=1e-6), name


def test_without_a_profile_the_fit_is_the_same_and_has_no_limits():
    x, event, _ = simulated(40, seed=4)
    fit, alone = firth_logistic(x, event), firth_logistic(x, event, profile=False)
    np.testing.assert_array_equal(alone.coefficients, fit.coefficients)
    np.testing.assert_array_equal(alone.std_error, fit.std_error)
    assert np.isnan([alone.conf_low, alone.conf_high, alone.p_value]).all()


def test_a_search_that_does_not_settle_says_so(monkeypatch):
    x, event, _ = simulated(40, seed=4)
    monkeypatch.setattr(firth, "MAX_ITERATIONS", 2)
    with pytest.raises(NotFitted, match="the penalised likelihood has no maximum that could be found"):
        firth_logistic(x, event)


def test_a_refit_without_a_maximum_says_that_a_patient_was_left_out():
    with pytest.raises(NotFitted, match="without one of the patients: "):
        refit(lambda beta: Point(-np.inf, np.full(2, np.nan), np.full((2, 2), np.nan)), np.zeros(2))


def test_refits_that_do_not_settle_in_step_are_searched_for_alone(monkeypatch):
    x, event, patient = simulated(8, seed=9)
    start = firth_logistic(x, event, profile=False).coefficients
    in_step = firth_logistic_refits(x, event, patient, start)
    monkeypatch.setattr(patients_left_out, "MOST_STEPS_TOGETHER", 1)
    np.testing.assert_allclose(firth_logistic_refits(x, event, patient, start), in_step, rtol=1e-6)


def test_a_start_from_which_no_risk_moves_is_refused():
    x, event, patient = simulated(8, seed=9)
    with pytest.raises(NotFitted, match="without one of the patients: "):
        firth_logistic_refits(x, event, patient, np.array([1e4, 0.0, 0.0]))


def test_the_last_refit_is_brought_to_its_end_like_the_others():
    """The search begins at the answer without the first patient, so that the other refit is left alone at once."""
    x, event, _ = simulated(20, seed=12)
    patient = np.arange(len(event)) % 2
    alone = [firth_logistic(x[patient != k], event[patient != k], profile=False).coefficients for k in (0, 1)]
    np.testing.assert_allclose(firth_logistic_refits(x, event, patient, alone[0]), alone, rtol=1e-7)


@pytest.mark.parametrize("separated", [False, True])
@pytest.mark.parametrize("n_patients", [8, 60])
def test_refits_in_step_are_refits_one_by_one(n_patients, separated):
    x, event, patient = simulated(n_patients, seed=n_patients + 1, separated=separated)
    fit = firth_logistic(x, event)
    ours = firth_logistic_jackknife(x, event, patient, fit.coefficients)
    replicates = [
        firth_logistic(x[patient != i], event[patient != i], profile=False).coefficients for i in range(n_patients)
    ]
    np.testing.assert_allclose(ours, jackknife_std_error(np.array(replicates)), rtol=1e-6)


def test_jackknife_of_a_rate_by_hand():
    """Without a patient who has 1 of 2 perforated 2 of 8 are left, log(2.5 / 6.5); without one who has none 3 of 8."""
    event = np.array([1, 0, 1, 0, 1, 0, 0, 0, 0, 0], bool)
    without = np.log([2.5 / 6.5] * 3 + [3.5 / 5.5] * 2)
    expected = np.sqrt(4 / 5 * ((without - without.mean()) ** 2).sum())
    ones = np.ones((10, 1))
    std_error = firth_logistic_jackknife(ones, event, np.repeat(range(5), 2), firth_logistic(ones, event).coefficients)
    assert std_error[0] == pytest.approx(expected, rel=1e-7)


def test_many_patients_leave_in_groups_that_do_not_depend_on_the_order_of_the_sites():
    patient = np.repeat([f"P{i:05d}" for i in range(2 * MOST_GROUPS + 3)], 2)
    group, n_groups = jackknife_groups(patient)
    assert n_groups == MOST_GROUPS
    assert set(np.bincount(group)) == {4, 6}
    assert (group[::2] == group[1::2]).all()
    order = np.random.default_rng(1).permutation(len(patient))
    np.testing.assert_array_equal(jackknife_groups(patient[order])[0], group[order])


def test_two_patients_can_be_left_out_one_after_the_other():
    group, n_groups = groups_to_leave_out(np.array(["B", "A", "B"]))
    assert (group.tolist(), n_groups) == ([1, 0, 1], 2)


@pytest.mark.parametrize(
    ("patient", "words"), [([1] * 8, "one patient, so none"), ([1, 1, 2, 3, 4, 5, 6, 7], "alone determines")]
)
def test_patients_who_cannot_be_left_out(patient, words):
    """The second column is 1 at the first patient's two sites only."""
    x = np.column_stack([np.ones(8), np.arange(8) < 2]).astype(float)
    event = np.arange(8) % 2 == 0
    with pytest.raises(NotFitted, match=words):
        firth_logistic_jackknife(x, event, np.array(patient), firth_logistic(x, event).coefficients)


def test_sites_that_share_covariates_are_counted_with_the_same_refits(monkeypatch):
    """Seven years and a yes or no: the refits of 1,100 patients by rows, and site by site."""
    rng = np.random.default_rng(8)
    patient = np.repeat(np.arange(MOST_GROUPS + 100), 2)
    x = np.column_stack([np.ones(len(patient)), rng.integers(-3, 4, len(patient)), rng.integers(0, 2, len(patient))])
    event = rng.random(len(patient)) < 0.1
    start = firth_logistic(x, event, profile=False).coefficients
    by_row = firth_logistic_refits(x, event, patient, start)
    monkeypatch.setattr(patients_left_out, "SITES_A_ROW", len(patient))
    np.testing.assert_allclose(by_row, firth_logistic_refits(x, event, patient, start), atol=1e-7)
    assert np.ptp(by_row, axis=0).min() > 1e-4
