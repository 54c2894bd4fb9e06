"""Risks from Firth's fit with its intercept moved: each deletion done by itself, at length."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import expit

from liftseries.estimators import patients_left_out
from liftseries.estimators.firth import firth_logistic
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.patients_left_out import firth_logistic_refits, jackknife_std_error
from liftseries.estimators.standardised import StandardisedRisks, moved_intercepts


def simulated(n_patients=45, seed=2):
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(n_patients), rng.integers(1, 4, n_patients))
    x = np.column_stack([np.ones(len(patient)), rng.uniform(2, 8, len(patient)), rng.random(len(patient)) < 0.4])
    log_odds = -0.4 - 0.3 * (x[:, 1] - 3) + 0.5 * x[:, 2] + rng.normal(0, 0.8, n_patients)[patient]
    return x, rng.random(len(patient)) < expit(log_odds), patient


def moved_by_root(x, event):
    """Firth's coefficients with the intercept moved, by a fit from scratch and a root finder."""
    b = firth_logistic(x, event, profile=False).coefficients
    by = brentq(lambda move: expit(x @ b + move).mean() - event.mean(), -10, 10, xtol=1e-14)
    return b + np.r_[by, np.zeros(len(b) - 1)]


def at(x, value):
    return np.column_stack([x[:, 0], np.full(len(x), float(value)), x[:, 2]])


def fitted(x, event, patient):
    b = firth_logistic(x, event, profile=False).coefficients
    return StandardisedRisks(x, event, patient, b, firth_logistic_refits(x, event, patient, b))


def test_every_patient_left_out_and_fitted_again_from_scratch():
    x, event, patient = simulated()
    risks = fitted(x, event, patient)
    coefficients = moved_by_root(x, event)
    np.testing.assert_allclose(risks.coefficients, coefficients, rtol=1e-7)
    assert expit(x @ risks.coefficients).mean() == pytest.approx(event.mean(), rel=1e-12)
    for value in (4.0, 7.0):
        assert risks.site_risks(at(x, value)).mean() == pytest.approx(expit(at(x, value) @ coefficients).mean())
        slow = []
        for k in np.unique(patient.astype(str)):  # as the groups are numbered
            kept = patient.astype(str) != k
            slow.append(expit(at(x[kept], value) @ moved_by_root(x[kept], event[kept])).mean())
        np.testing.assert_allclose(risks.replicates(at(x, value)), slow, rtol=1e-6)


def test_a_model_of_a_constant_gives_the_share_and_its_jackknife():
    """Nothing to standardise for: the risk is x / n, and each replicate the share without that patient."""
    _, event, patient = simulated(30, seed=5)
    x = np.ones((len(event), 1))
    risks = fitted(x, event, patient)
    assert risks.site_risks(x).mean() == pytest.approx(event.mean(), rel=1e-12)
    names = np.unique(patient.astype(str))
    without = [event[patient.astype(str) != k].mean() for k in names]
    np.testing.assert_allclose(risks.replicates(x), without, rtol=1e-10)


def test_groups_of_patients_leave_together(monkeypatch):
    x, event, patient = simulated()
    one_by_one = fitted(x, event, patient).replicates(at(x, 4))
    monkeypatch.setattr(patients_left_out.jackknife_groups, "__defaults__", (20,))
    grouped = fitted(x, event, patient).replicates(at(x, 4))
    assert len(one_by_one) == 45
    assert len(grouped) == 20
    of_each = [float(jackknife_std_error(found[:, None])[0]) for found in (one_by_one, grouped)]
    assert of_each[1] == pytest.approx(of_each[0], rel=0.4)


def test_order_of_sites_and_how_many_fits_at_once_change_nothing(monkeypatch):
    x, event, patient = simulated()
    whole = fitted(x, event, patient).replicates(at(x, 4))
    order = np.random.default_rng(1).permutation(len(event))
    shuffled = fitted(x[order], event[order], patient[order]).replicates(at(x[order], 4))
    np.testing.assert_allclose(shuffled, whole, rtol=1e-7)
    monkeypatch.setattr("liftseries.estimators.standardised.CELLS_AT_ONCE", 7 * len(event))
    np.testing.assert_allclose(fitted(x, event, patient).replicates(at(x, 4)), whole, rtol=1e-12)


def test_nothing_to_move_to_without_an_event_or_with_nothing_else():
    kept = np.ones((1, 4), bool)
    for event, told in ((np.zeros(4, bool), "no site had the event"), (np.ones(4, bool), "every site had the event")):
        with pytest.raises(NotFitted, match=told):
            moved_intercepts(np.zeros((1, 4)), event, kept)


@pytest.mark.parametrize(
    ("left", "told"),
    [([True, True, False], "every site had the event"), ([False, False, True], "no site had the event")],
)
def test_one_fit_without_both_outcomes_stops_all(left, told):
    event, kept = np.array([True, True, False]), np.array([[True, True, True], left])
    with pytest.raises(NotFitted, match=told):
        moved_intercepts(np.zeros((2, 3)), event, kept)


def test_an_intercept_far_off_is_moved_all_the_way():
    """One event in 1000 where the fit says one half; and log odds of 40."""
    event = np.arange(1000) < 1
    kept = np.ones((2, 1000), bool)
    log_odds = np.vstack([np.zeros(1000), np.full(1000, 40.0)])
    moved = moved_intercepts(log_odds, event, kept)
    np.testing.assert_allclose(expit(log_odds[:, 0] + moved), 0.001, rtol=1e-9)
