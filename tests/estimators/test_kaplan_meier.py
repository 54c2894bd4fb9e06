"""Kaplan-Meier by hand, by lifelines, and its clustered variance by differentiating a weighted curve."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liftseries.estimators.kaplan_meier import kaplan_meier, log_log_interval, numbers_at
from liftseries.models.survival.life_table import life_table


def simulated(n_patients, seed, last=30):
    """Months with many ties, failures and patients with 1-4 implants."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(n_patients), rng.integers(1, 5, n_patients))
    months = np.minimum(np.ceil(rng.exponential(20, len(patient))), last)
    return months, rng.random(len(patient)) < 0.4, patient


def weighted_curve(months, failed, weight, at):
    """Kaplan-Meier where implants count `weight` times, by its definition."""
    survival = 1.0
    for t in np.unique(months[failed & (months <= at)]):
        survival *= 1 - weight[failed & (months == t)].sum() / weight[months >= t].sum()
    return survival


def weighted_life_table(months, failed, weight, start):
    """Actuarial survival at `start` where implants count `weight` times, by its definition."""
    survival = 1.0
    for low in np.arange(0, start, 12):
        inside = (months >= low) & (months < low + 12)
        effective = weight[months >= low].sum() - weight[inside & ~failed].sum() / 2
        survival *= 1 - weight[inside & failed].sum() / effective
    return survival


def patient_jackknife(curve, patient):
    """√ of the sum over patients of (derivative of the curve by the patient's weight)²."""
    total, h = 0.0, 1e-5
    for i in np.unique(patient):
        up, down = 1 + h * (patient == i), 1 - h * (patient == i)
        total += ((curve(up) - curve(down)) / (2 * h)) ** 2
    return np.sqrt(total)


def test_a_curve_worked_by_hand():
    """5 implants: failed at 2 and 4, censored at 3, 4 and 5. S = 4/5, then 4/5 · 2/3; at risk 5 and 3.

    Greenwood at 4: S² (1/(5·4) + 1/(3·2)).
    """
    fit = kaplan_meier([2, 3, 4, 4, 5], [True, False, True, False, False], np.arange(5))
    np.testing.assert_array_equal(fit.months, [2, 4])
    np.testing.assert_array_equal(fit.n_at_risk, [5, 3])
    np.testing.assert_allclose(fit.survival, [4 / 5, 8 / 15])
    np.testing.assert_allclose(fit.std_error[1], 8 / 15 * np.sqrt(1 / 20 + 1 / 6))
    survival, std_error = fit.at([0, 1.9, 2, 5, 5.1])
    np.testing.assert_allclose(survival, [1, 1, 0.8, 8 / 15, np.nan])
    assert std_error[0] == 0


def test_the_hand_counts_failures_given_as_numbers():
    """Columns of 0 and 1 are no positions: failed at 2 (twice) and 4, censored at 3 and 5."""
    months, failed = [2, 2, 3, 4, 5], [1, 1, 0, 1, 0]
    fit = kaplan_meier(months, failed, np.arange(5))
    np.testing.assert_array_equal(fit.n_failed, [2, 1])
    assert fit.n_failed.dtype.kind == "i"
    at_risk, n_failed, n_censored = numbers_at(months, failed, [2, 2.5, 4, 5, 6])
    np.testing.assert_array_equal(n_failed, [0, 2, 2, 3, 3])
    np.testing.assert_array_equal(n_censored, [0, 0, 1, 1, 2])
    np.testing.assert_array_equal(at_risk, [5, 3, 2, 1, 0])


@pytest.mark.parametrize(("months", "last_survival"), [([3], 0.0), ([3, 5], 0.5)])
def test_a_curve_that_came_down_to_0_stays_there_and_another_ends_with_its_last_implant(months, last_survival):
    fit = kaplan_meier(months, [True, *[False] * (len(months) - 1)], np.arange(len(months)))
    survival, std_error = fit.at([2.9, months[-1], months[-1] + 1])
    np.testing.assert_allclose(survival, [1, last_survival, 0 if last_survival == 0 else np.nan])
    assert std_error[0] == 0
    assert np.isnan(std_error[-1])  # at 0, and beyond the end: not known
    assert std_error.dtype.kind == "f"


def test_where_the_first_failure_is_the_last_but_others_went_before_the_curve_is_0_for_good():
    """Two steps, 2/3 and 0: only the last decides whether the curve goes on."""
    fit = kaplan_meier([1, 2, 2], [True, True, True], np.arange(3))
    np.testing.assert_allclose(fit.survival, [2 / 3, 0])
    np.testing.assert_array_equal(fit.at([9])[0], [0])


def test_limits_stand_only_strictly_between_0_and_1():
    """S = 0.5, s = 0.1: z s / (S |log S|) on the log(-log) scale, by hand."""
    low, high = log_log_interval([0.5, 0.0, 1.0, 0.5], [0.1, 0.1, 0.1, np.nan], critical=2.0)
    width = 2 * 0.1 / (0.5 * np.log(2))
    np.testing.assert_allclose([low[0], high[0]], [0.5 ** np.exp(width), 0.5 ** np.exp(-width)])
    assert np.isnan([*low[1:], *high[1:]]).all()


def test_a_difference_that_is_rounding_alone_is_no_variance_and_a_small_true_one_is():
    """Two patients alike, each with one implant lost of two at the same month, cancel; 10^5 that do not are kept."""
    two = kaplan_meier([1, 1, 2, 2], [True, True, False, False], [0, 1, 0, 1])
    np.testing.assert_array_equal(two.std_error, [0])
    n = 100_000
    many = kaplan_meier(np.r_[1, np.full(n - 1, 2)], np.arange(n) == 0, np.arange(n))
    np.testing.assert_allclose(many.std_error, np.sqrt((1 - 1 / n) / n) * np.sqrt(1 / n), rtol=1e-9)


def test_two_implants_that_always_share_their_fate_count_as_one():
    months, failed, _ = simulated(40, seed=1)
    once = kaplan_meier(months, failed, np.arange(len(months)))
    twice = kaplan_meier(np.tile(months, 2), np.tile(failed, 2), np.tile(np.arange(len(months)), 2))
    np.testing.assert_allclose(twice.survival, once.survival)
    np.testing.assert_allclose(twice.std_error, once.std_error)


@pytest.mark.parametrize("seed", [2, 3])
def test_clustered_variance_is_the_derivative_of_a_weighted_curve(seed):
    months, failed, patient = simulated(25, seed)
    fit = kaplan_meier(months, failed, patient)
    for at in (3, 10, 25):
        slow = patient_jackknife(lambda w, at=at: weighted_curve(months, failed, w, at), patient)
        assert fit.at([at])[1][0] == pytest.approx(slow, rel=1e-6)


@pytest.mark.parametrize("seed", [4, 5])
def test_life_table_variance_is_the_derivative_of_a_weighted_table(seed):
    months, failed, patient = simulated(25, seed, last=40)
    life = life_table(months, failed, patient)
    for k, start in enumerate(life.start_months):
        slow = patient_jackknife(lambda w, s=start: weighted_life_table(months, failed, w, s), patient)
        assert life.std_error[k] == pytest.approx(slow, rel=1e-6, abs=1e-12)


def test_lifelines_draws_the_same_curve():
    from lifelines import KaplanMeierFitter

    months, failed, _ = simulated(60, seed=6)
    theirs = KaplanMeierFitter().fit(months, failed)
    fit = kaplan_meier(months, failed, np.arange(len(months)))
    np.testing.assert_allclose(fit.survival, theirs.predict(fit.months), rtol=1e-10)
    low, high = log_log_interval(fit.survival, fit.std_error)
    limits = theirs.confidence_interval_.loc[fit.months].to_numpy()
    np.testing.assert_allclose(np.column_stack([low, high]), limits, rtol=1e-8)


def test_when_the_last_implants_fail_survival_is_zero_without_a_variance():
    fit = kaplan_meier([3, 5, 5], [False, True, True], [1, 2, 3])
    assert fit.survival.tolist() == [0]
    assert np.isnan(fit.std_error).all()
    assert np.isnan(log_log_interval(fit.survival, fit.std_error)).all()


def test_the_end_of_the_curve_leaves_its_beginning_alone():
    """All that are left fail at 5: the variance at 2 is what it was without them failing."""
    months, patient = [2, 3, 5, 5], [1, 2, 2, 1]
    to_the_end = kaplan_meier(months, [True, False, True, True], patient)
    censored = kaplan_meier(months, [True, False, False, False], patient)
    assert to_the_end.std_error[0] == pytest.approx(censored.std_error[0])
    assert np.isnan(to_the_end.std_error[1])


def test_patients_who_cancel_out_have_a_variance_of_exactly_zero():
    """Each loses one implant of two at the same time."""
    fit = kaplan_meier([6, 24] * 7, [True, False] * 7, np.repeat(range(7), 2))
    assert fit.std_error.tolist() == [0]


def test_nobody_and_no_failure():
    assert np.isnan(kaplan_meier([], [], []).at([12])[0])
    survival, std_error = kaplan_meier([12, 24], [False, False], [1, 2]).at([24])
    assert (survival[0], std_error[0]) == (1, 0)


def test_an_implant_that_fell_out_at_placement_is_at_risk_only_then():
    with_it = kaplan_meier([0, 6, 12, 12], [False, True, False, False], [1, 2, 3, 4])
    without = kaplan_meier([6, 12, 12], [True, False, False], [2, 3, 4])
    np.testing.assert_allclose(with_it.survival, without.survival)
    np.testing.assert_allclose(with_it.std_error, without.std_error)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_curve_falls_and_its_interval_holds_it(seed):
    months, failed, patient = simulated(20, seed)
    fit = kaplan_meier(months, failed, patient)
    assert (np.diff(np.r_[1, fit.survival]) <= 0).all()
    assert (fit.survival >= 0).all()
    low, high = log_log_interval(fit.survival, fit.std_error)
    drawn = np.isfinite(low)
    assert (low[drawn] <= fit.survival[drawn]).all()
    assert (fit.survival[drawn] <= high[drawn]).all()
    assert ((low[drawn] >= 0) & (high[drawn] <= 1)).all()
    at_risk, n_failed, n_censored = numbers_at(months, failed, [0, 7, 20, 99])
    np.testing.assert_array_equal(at_risk + n_failed + n_censored, len(months))
    assert at_risk.tolist()[0] == len(months)
    assert at_risk.tolist()[-1] == 0


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_a_life_table_accounts_for_every_implant(seed):
    months, failed, patient = simulated(20, seed, last=50)
    life = life_table(months, failed, patient)
    assert life.n_entering[0] == len(months)
    assert (life.n_failed + life.n_censored).sum() == len(months)
    np.testing.assert_array_equal(np.diff(life.n_entering), -(life.n_failed + life.n_censored)[:-1])


def test_an_implant_seen_at_12_months_enters_the_second_year():
    """Intervals are half-open, 0 to <12: at exactly 12 months it counts as half at risk from 12 on."""
    life = life_table([12.0, 11.99, 30.0], [False, False, False], [1, 2, 3])
    assert life.n_entering.tolist() == [3, 2, 1]
    assert life.n_effective.tolist() == [2.5, 1.5, 0.5]
