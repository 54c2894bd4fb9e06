"""Firth's Cox model: a closed answer, firthmodels without ties, Efron's penalised likelihood written out for ties."""

import numpy as np
import pytest
from firthmodels import FirthCoxPH
from scipy.optimize import minimize

from liftseries.estimators.cox import alike_at_risk
from liftseries.estimators.firth_cox import firth_cox
from liftseries.estimators.firth_cox_refits import _refuse_lone_differences, firth_cox_refits
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.patients_left_out import jackknife_std_error


def simulated(n_patients, seed, ties, failing=0.3):
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(n_patients), rng.integers(1, 4, n_patients))
    n = len(patient)
    x = np.column_stack([rng.normal(5, 1.5, n), rng.random(n) < 0.4]).astype(float)
    months = rng.exponential(25 * np.exp(-0.3 * (x[:, 0] - 5)))
    return (np.ceil(months / 6) if ties else months), rng.random(n) < failing, x, patient


def penalised(months, failed, x, beta):
    """Efron's partial log-likelihood and half the log determinant of its information, slot by slot."""
    r = np.exp(x @ beta)
    log_likelihood, information = (x @ beta)[failed].sum(), 0
    for t in np.unique(months[failed]):
        at_risk, dead = months >= t, (months == t) & failed
        for slot in range(dead.sum()):
            weight = r * at_risk * (1 - slot / dead.sum() * dead)
            mean = weight @ x / weight.sum()
            log_likelihood -= np.log(weight.sum())
            information = information + (x.T * weight) @ x / weight.sum() - np.outer(mean, mean)
    return log_likelihood + np.linalg.slogdet(information)[1] / 2


@pytest.mark.parametrize("n_others", [1, 4, 30])
def test_one_failure_has_a_closed_answer(n_others):
    """x = 1 fails first among m others with x = 0: log π + ½ log π(1-π) is largest at π = 3/4, so β = log 3m."""
    months = np.r_[1.0, np.full(n_others, 9.0)]
    failed = months < 9
    fit = firth_cox(months, failed, failed[:, None].astype(float))
    assert fit.coefficients[0] == pytest.approx(np.log(3 * n_others), rel=1e-8)
    assert fit.std_error[0] == pytest.approx(1 / np.sqrt(3 / 16), rel=1e-7)
    assert fit.log_likelihood == pytest.approx(np.log(3 / 4) + np.log(3 / 16) / 2)


def test_a_search_does_not_end_between_two_maxima():
    """One of m = 12 implants with x = 0 fails, with one at 1 and one at -1 at risk.

    With c = cosh β, -2 log(m + 2c) + ½ log(2cm + 4) has its maximum at c = (m² - 16) / 6m = 16/9; β = 0, where the
    search starts, is the dip between the two.
    """
    x = np.r_[np.zeros(12), 1.0, -1.0][:, None]
    fit = firth_cox(np.r_[1.0, np.full(13, 2.0)], np.arange(14) == 0, x)
    assert abs(fit.coefficients[0]) == pytest.approx(np.arccosh(16 / 9), rel=1e-7)
    assert np.isfinite([fit.conf_low[0], fit.conf_high[0], fit.p_value[0]]).all()


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_firthmodels_agrees_without_ties(seed):
    """firthmodels is itself tested against coxphf; both take ties as Breslow does, so there are none here."""
    months, failed, x, _ = simulated(40, seed, ties=False)
    ours = firth_cox(months, failed, x)
    theirs = FirthCoxPH(backend="numpy", gtol=1e-8, xtol=1e-8, max_iter=500).fit(x, (failed, months))
    np.testing.assert_allclose(ours.coefficients, theirs.coef_, rtol=1e-6)
    np.testing.assert_allclose(ours.std_error, theirs.bse_, rtol=1e-6)
    assert ours.log_likelihood == pytest.approx(theirs.loglik_, rel=1e-10)
    limits = theirs.conf_int(method="pl", tol=1e-9, max_iter=200)
    np.testing.assert_allclose(np.column_stack([ours.conf_low, ours.conf_high]), limits, rtol=1e-6)


@pytest.mark.parametrize(("seed", "failing"), [(1, 0.3), (2, 0.3), (3, 0.05)])
def test_ties_by_brute_force(seed, failing):
    """A simplex finds the same maximum; at each limit its profile lies 1.92 lower."""
    months, failed, x, _ = simulated(25, seed, True, failing)
    x = (x - x.mean(axis=0)) / x.std(axis=0)
    fit = firth_cox(months, failed, x)
    tight = {"method": "Nelder-Mead", "options": {"xatol": 1e-8, "fatol": 1e-13}}
    found = minimize(lambda b: -penalised(months, failed, x, b), np.zeros(2), **tight)
    np.testing.assert_allclose(fit.coefficients, found.x, atol=1e-6)
    assert fit.log_likelihood == pytest.approx(-found.fun, rel=1e-10)
    for j in range(2):
        for limit in (fit.conf_low[j], fit.conf_high[j]):

            def low(rest, j=j, limit=limit):
                return -penalised(months, failed, x, np.insert(rest, j, limit))

            best = -minimize(low, fit.coefficients[[1 - j]], **tight).fun
            assert 2 * (fit.log_likelihood - best) == pytest.approx(3.841458820694124, abs=1e-6)


def test_what_falls_out_before_the_first_failure_and_the_order_do_not_matter():
    months, failed, x, _ = simulated(40, seed=6, ties=True)
    fit = firth_cox(months, failed, x)
    order = np.random.default_rng(1).permutation(len(months))
    early = months < months[failed].min()
    more = np.r_[months[order], np.zeros(5)], np.r_[failed[order], np.zeros(5, bool)], np.vstack([x[order], x[:5] + 9])
    for again in (firth_cox(*more), firth_cox(months[~early], failed[~early], x[~early])):
        np.testing.assert_allclose(again.coefficients, fit.coefficients, rtol=1e-7)
        np.testing.assert_allclose(again.conf_high, fit.conf_high, rtol=1e-7)


def test_a_year_has_the_limits_of_the_years_since():
    months, failed, x, _ = simulated(40, seed=7, ties=True)
    since, year = firth_cox(months, failed, x), firth_cox(months, failed, x + np.array([2015.0, 0.0]))
    for name in ("coefficients", "conf_low", "conf_high", "p_value"):
        np.testing.assert_allclose(getattr(year, name), getattr(since, name), rtol=1e-6)


def test_jackknife_is_one_refit_after_the_other():
    months, failed, x, patient = simulated(15, seed=8, ties=True)
    fit = firth_cox(months, failed, x)
    ours = jackknife_std_error(firth_cox_refits(months, failed, x, patient, fit.coefficients))
    kept = [patient != i for i in np.unique(patient)]
    replicates = [firth_cox(months[k], failed[k], x[k], profile=False).coefficients for k in kept]
    np.testing.assert_allclose(ours, jackknife_std_error(np.array(replicates)), rtol=1e-6)


def late_differences(seed):
    """Implants that leave before the first failure differ; of those at risk then the first alone, by 1."""
    rng = np.random.default_rng(seed)
    early, late = rng.integers(1, 12), rng.integers(4, 12)
    x = np.r_[5.7 + rng.normal(0, 1, early), np.full(late, 5.7) + (np.arange(late) < 1)][:, None]
    months = np.r_[rng.uniform(1, 5, early), np.ceil(rng.uniform(6, 30, late))]
    return months, months > 5, x, early


def test_a_term_alike_from_the_first_failure_on_tells_nothing_whatever_rounding_leaves_of_it():
    for seed in range(40):
        months, failed, x, only = late_differences(seed)
        others = np.arange(len(x)) != only
        with pytest.raises(NotFitted, match="tell the terms apart"):
            firth_cox(months[others], failed[others], x[others])
        with pytest.raises(NotFitted, match=r"without one of the patients: .* tell the terms apart"):
            firth_cox_refits(months, failed, x, np.arange(len(x)), np.zeros(1))


def test_who_leaves_others_alike_is_found_as_by_asking_of_each():
    """Yes-and-no terms of few implants, dealt to three to five patients."""
    refused = []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        n, n_patients = int(rng.integers(6, 14)), int(rng.integers(3, 6))
        months, failed = rng.integers(1, 6, n), rng.random(n) < 0.5
        x, group = (rng.random((n, 2)) < 0.25).astype(float), rng.integers(0, n_patients, n)
        if len(np.unique(group[failed])) < 2:
            continue
        kept = [group != alone for alone in range(n_patients)]
        refused.append(any(alike_at_risk(months[k], failed[k], x[k]) for k in kept))
        try:
            _refuse_lone_differences(months, failed, x, group)
            assert not refused[-1], seed
        except NotFitted:
            assert refused[-1], seed
    assert 40 < sum(refused) < len(refused) - 40


def test_what_cannot_be_fitted_is_said_in_words():
    months, x = np.array([1.0, 2, 3, 4]), np.array([[1.0], [0], [2], [1]])
    with pytest.raises(NotFitted, match="no implant used has failed"):
        firth_cox(months, np.zeros(4, bool), x)
    with pytest.raises(NotFitted, match="tell the terms apart"):
        firth_cox(months, np.array([False, False, False, True]), x)  # the last at risk fails alone
    first = np.array([True, False, False, False])
    fit = firth_cox(months, first, x)
    with pytest.raises(NotFitted, match="all failures belong to one patient"):
        firth_cox_refits(months, first, x, np.arange(4), fit.coefficients)
    with pytest.raises(NotFitted, match="none can be left out"):
        firth_cox_refits(months, first, x, np.zeros(4), fit.coefficients)
