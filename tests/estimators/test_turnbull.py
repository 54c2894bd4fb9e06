"""Turnbull's estimate: what holds at the maximum alone, and series on which plain EM never ends."""

import numpy as np
import pytest

from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.kaplan_meier import kaplan_meier
from liftseries.estimators.turnbull import AT_A_TIME, _leap, _settled, innermost, turnbull


def seen_at_own_visits(rng, n, whole_months=False):
    """Intervals between visits that differ from implant to implant."""
    left, right = np.empty(n), np.empty(n)
    for i in range(n):
        visits = np.cumsum(rng.exponential(9, rng.integers(1, 8)))
        visits = np.unique(np.ceil(visits)) if whole_months else visits
        visits = np.r_[0, visits, np.inf]
        k = np.searchsorted(visits, rng.exponential(35))
        left[i], right[i] = visits[k - 1], visits[k]
    return left, right


def fitted(left, right, **how):
    intervals = innermost(left, right)
    return turnbull(intervals, np.bincount(intervals.which, minlength=len(intervals.holds)), **how)


@pytest.mark.parametrize("n", [5, 15, 40, 120])
@pytest.mark.parametrize("whole_months", [False, True])
def test_the_conditions_of_the_maximum_hold(n, whole_months):
    """Gentleman and Geyer 1994: one more observation pays nowhere, and breaks even where there is mass.

    Without Newton's steps one series of twenty did not settle: its masses fade as 1 / steps.
    """
    rng = np.random.default_rng([n, whole_months])
    for _ in range(15):
        left, right = seen_at_own_visits(rng, n, whole_months)
        fit = fitted(left, right)
        mass = fit.mass[0]
        holds = (left[:, None] <= fit.left) & (right[:, None] >= fit.right)  # from the definition, not from `intervals`
        gradient = (holds / (holds @ mass)[:, None]).mean(axis=0)
        assert gradient.max() < 1 + 1e-8
        np.testing.assert_allclose(mass * (gradient - 1), 0, atol=1e-10)
        assert mass.min() >= 0
        assert mass.sum() == pytest.approx(1, abs=1e-12)
        assert fit.log_likelihood[0] == pytest.approx(np.log(holds @ mass).sum(), rel=1e-12)


def test_intervals_that_hold_the_same_are_one():
    """Failed in (0, 6] and in (0, 8]: (0, 6] alone carries mass; standing at 10, 12 and 13 are all one."""
    intervals = innermost([0, 0, 10, 12, 13], [6, 8, np.inf, np.inf, np.inf])
    assert intervals.left.tolist() == [0, 13]
    assert intervals.right.tolist() == [6, np.inf]
    assert intervals.holds.tolist() == [[1, 0], [0, 1]]
    assert intervals.which.tolist() == [0, 0, 1, 1, 1]


def test_a_leap_from_steps_that_shrink_by_a_factor_lands_where_they_end():
    """Errors of 1, λ and λ² times a way are a geometric series: Varadhan and Roland 2008 (from memory)."""
    end, way = np.array([0.5, 0.3, 0.2]), np.array([0.02, 0.03, -0.05])
    rate = np.array([[0.5], [0.9], [0.99]])
    np.testing.assert_allclose(_leap(*(end + rate**k * way for k in (0, 1, 2))), np.tile(end, (3, 1)), atol=1e-12)


def test_a_leap_out_of_bounds_or_from_rest_stays_at_the_second_step():
    first = np.array([[0.52, 0.48], [0.5, 0.5], [0.6, 0.4]])
    second = np.array([[0.5396, 0.4604], [0.5, 0.5], [0.65, 0.35]])
    leap = _leap(np.full((3, 2), 0.5), first, second)
    np.testing.assert_allclose(leap, [*second[:2], [0.7, 0.3]])  # the third halves its steps, and is let go


def test_each_fit_settles_by_its_own_masses_and_slopes():
    mass = np.array([[0.5, 0.5], [0.5, 0.5], [1.0, 0.0]])
    slopes = np.array([[1.0, 1.0], [0.5, 1.5], [1.0, 1.5]])
    assert _settled(mass, slopes, 1e-11).tolist() == [True, False, False]


def test_steps_that_do_not_settle_are_counted_in_words(monkeypatch):
    monkeypatch.setattr("liftseries.estimators.turnbull.EM_ITERATIONS", 2)
    monkeypatch.setattr("liftseries.estimators.turnbull.NEWTON_ITERATIONS", 1)
    with pytest.raises(NotFitted, match="did not settle within 3 steps"):
        fitted(*seen_at_own_visits(np.random.default_rng(12), 200))


def test_a_mass_lost_in_a_leap_comes_back():
    """Two intervals of one observation each; a start that gives the second nothing is no maximum."""
    from liftseries.estimators.turnbull import _newton

    mass = _newton(np.array([0.5, 0.5]), np.eye(2), np.array([1 - 1e-14, 1e-14]), 1e-11)
    np.testing.assert_allclose(mass, 0.5, atol=1e-9)


@pytest.mark.parametrize("given_up", [1.0, 30.0])
def test_newton_steps_over_few_masses_end_at_the_same_maximum(monkeypatch, given_up):
    """Masses of up to thirty observations given up as soon as they ought to shrink, many of them wrongly."""
    left, right = seen_at_own_visits(np.random.default_rng(12), 200)
    by_em = fitted(left, right)
    monkeypatch.setattr("liftseries.estimators.turnbull.EM_ITERATIONS", 3)
    monkeypatch.setattr("liftseries.estimators.turnbull.GIVEN_UP", given_up)
    by_newton = fitted(left, right)
    np.testing.assert_allclose(by_newton.mass, by_em.mass, atol=1e-8)
    assert by_newton.log_likelihood[0] == pytest.approx(by_em.log_likelihood[0], rel=1e-12)


def test_known_times_give_kaplan_meier():
    """Failures dated exactly and the rest censored: the product-limit estimate."""
    rng = np.random.default_rng(4)
    months = np.ceil(rng.exponential(20, 60))
    failed = rng.random(60) < 0.6
    fit = fitted(months, np.where(failed, months, np.inf))
    curve = kaplan_meier(months, failed, np.arange(60))
    before_the_end = curve.months[curve.months < fit.left[-1]]
    np.testing.assert_allclose(fit.survival(before_the_end)[0], curve.at(before_the_end)[0], atol=1e-9)


def test_all_fits_at_once_are_each_alone():
    """Weights of resamples, some of which leave intervals without an observation."""
    rng = np.random.default_rng(8)
    left, right = seen_at_own_visits(rng, 50)
    intervals = innermost(left, right)
    weights = rng.multinomial(50, np.full(len(intervals.holds), 1 / len(intervals.holds)), size=9)
    together = turnbull(intervals, weights)
    promised = 50 * 100 * 1e-11  # what `tolerance` may leave of the log-likelihood of 50 observations
    for k, own in enumerate(weights):
        assert together.log_likelihood[k] == pytest.approx(turnbull(intervals, own).log_likelihood[0], abs=promised)
    assert (weights == 0).any()


def test_mass_is_spread_evenly_within_its_interval():
    """Half failed in (6, 12], half stands at 24: a third of the way is a sixth of all; beyond 24 nothing is known."""
    fit = fitted(np.array([6.0, 24]), np.array([12.0, np.inf]))
    survival = fit.survival([0, 6, 8, 12, 24, 24.5])[0]
    np.testing.assert_allclose(survival[:-1], [1, 1, 5 / 6, 0.5, 0.5])
    assert np.isnan(survival[-1])


def test_a_known_time_is_a_step():
    fit = fitted(np.array([5.0, 9]), np.array([5.0, np.inf]))
    np.testing.assert_allclose(fit.survival([5 - 2 * AT_A_TIME, 5, 9])[0], [1, 0.5, 0.5])
