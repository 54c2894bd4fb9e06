"""Cumulative incidence: by hand, from the definition on series of every kind, and patients that cancel out."""

import numpy as np
import pytest

from liftseries.estimators.aalen_johansen import aalen_johansen


def slowly(months, status, cluster):
    """A row an implant and a column a time: each one's influence on the failures so far, summed within patients."""
    u = np.unique(months[status > 0])
    at_risk = (months[:, None] >= u).astype(float)
    either = (months[:, None] == u) & (status > 0)[:, None]
    failing = (months[:, None] == u) & (status == 1)[:, None]
    n, d, d1 = at_risk.sum(0), either.sum(0), failing.sum(0)
    free_before = np.r_[1.0, np.cumprod(1 - d / n)[:-1]]
    left = np.where(n > d, n - d, np.inf)  # once all have fallen out nothing follows
    of_free = np.cumsum((either - at_risk * d / n) / left, axis=1)
    of_before = -free_before * np.c_[np.zeros(len(months)), of_free[:, :-1]]
    influence = np.cumsum(of_before * d1 / n + free_before * (failing - at_risk * d1 / n) / n, axis=1)
    sums = np.array([influence[cluster == c].sum(axis=0) for c in np.unique(cluster)])
    return u, np.cumsum(free_before * d1 / n), np.sqrt((sums**2).sum(axis=0))


@pytest.mark.parametrize("share_censored", [0.0, 0.4, 0.9])
def test_any_series_is_as_slowly(share_censored):
    for seed in range(60):
        rng = np.random.default_rng([seed, int(10 * share_censored)])
        n = int(rng.choice([2, 5, 20, 100]))
        months = np.ceil(rng.exponential(12, n)) * rng.choice([1.0, 0.37])
        status = np.where(rng.random(n) < share_censored, 0, rng.integers(1, 3, n))
        cluster = rng.integers(0, max(n // 2, 1), n)
        curve = aalen_johansen(months, status == 1, status == 2, cluster)
        u, failure, std_error = slowly(months, status, cluster)
        np.testing.assert_array_equal(curve.months, u)
        np.testing.assert_allclose(curve.failure, failure, rtol=1e-12)
        np.testing.assert_allclose(curve.std_error, std_error, rtol=1e-9, atol=1e-13)


def test_by_hand():
    """Five implants: failed at 6, dead at 12, failed and dead at 18, standing at 24.

    Failure 1/5 at 6; free 3/5 after the death at 12; at 18 one of three fails: 1/5 + 3/5 x 1/3 = 2/5.
    """
    months = np.array([6.0, 12, 18, 18, 24])
    failed, died = np.array([1, 0, 1, 0, 0], bool), np.array([0, 1, 0, 1, 0], bool)
    failure, _, death = aalen_johansen(months, failed, died, np.arange(5)).at([0, 6, 12, 18, 24, 25])
    np.testing.assert_allclose(failure, [0, 0.2, 0.2, 0.4, 0.4, np.nan])
    np.testing.assert_allclose(death, [0, 0, 0.2, 0.4, 0.4, np.nan])


def test_without_censoring_it_is_a_share_of_patients():
    """Everybody fails or dies: the incidence is the share that failed, its variance that of a mean of patients."""
    rng = np.random.default_rng(3)
    patient = np.repeat(np.arange(40), 2)
    months, failed = np.ceil(rng.exponential(20, 80)), rng.random(80) < 0.5
    curve = aalen_johansen(months, failed, ~failed, patient)
    by_then = failed & (months <= 12)
    failure, std_error, _ = curve.at([12])
    sums = np.bincount(patient, weights=by_then - by_then.mean())
    assert failure[0] == pytest.approx(by_then.mean(), rel=1e-12)
    assert std_error[0] == pytest.approx(np.sqrt(sums @ sums) / 80, rel=1e-9)
    assert curve.at([1e4])[0][0] == pytest.approx(failed.mean(), rel=1e-12)  # nothing is left that could change it


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(("last_failed", "shares"), [(True, (0.5, 0.5)), (False, (0.25, 0.75))])
def test_once_all_have_fallen_out_both_incidences_stay_as_they_are(last_failed, shares):
    """Four implants: one failed at 6, two dead at 12, the last failed or dead at 18; nothing can change afterwards."""
    months, failed = np.array([6.0, 12, 12, 18]), np.array([True, False, False, last_failed])
    failure, std_error, death = aalen_johansen(months, failed, ~failed, np.arange(4)).at([18, 60])
    np.testing.assert_allclose((failure, death), [[share, share] for share in shares])
    assert std_error == pytest.approx(np.sqrt(shares[0] * shares[1] / 4))


def test_without_an_implant_no_incidence_is_given():
    nobody = np.array([])
    curve = aalen_johansen(nobody, nobody, nobody, nobody)
    assert (len(curve.months), len(curve.failure), len(curve.std_error)) == (0, 0, 0)
    assert np.isnan([curve.last_month, *np.ravel(curve.at([0, 12]))]).all()


def test_patients_that_cancel_leave_no_rounding_behind():
    """Each of 30 patients loses one implant and dies with the other: a share of 1/2 in all, without variance.

    The running totals behind the variance are large before they cancel.
    """
    rng = np.random.default_rng(12)
    months = np.ceil(rng.exponential(20, 60))
    failed = np.tile([True, False], 30)
    curve = aalen_johansen(months, failed, ~failed, np.repeat(np.arange(30), 2))
    assert curve.failure[-1] == pytest.approx(0.5)
    assert curve.std_error[-1] == 0


def test_one_patient_alone_has_no_variance():
    """All influences add up to nothing: 0 and not the rounding of it, which once was 8e-9."""
    months, status = np.array([7.0, 7, 80, 11, 7]), np.array([0, 2, 1, 1, 0])
    assert (aalen_johansen(months, status == 1, status == 2, np.zeros(5)).std_error == 0).all()
