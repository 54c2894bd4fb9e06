"""What curves, exact intervals and a p beside its interval tell of the counts behind them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from liftseries.disclosure.enumeration import (
    counts_agreeing,
    degrees_of_freedom,
    failures_between,
    failures_within,
    survival_within,
)
from liftseries.estimators.kaplan_meier import kaplan_meier
from liftseries.estimators.proportion import exact, largest_risk, wilson
from liftseries.models.survival.life_table import life_table

DIGIT = 0.0005


def test_failures_of_a_curve_of_which_nobody_is_censored_are_told_exactly():
    """Survival 0.98 and then 0.95 of a hundred: five failed, two before and three between."""
    assert failures_between(1.0, 0.98, (100, 98), DIGIT) == (2, 2)
    assert failures_between(0.98, 0.95, (98, 95), DIGIT) == (3, 3)


def test_failures_are_told_less_well_the_more_are_censored():
    """Three failures among 100 to 20 at risk: 0.97 at the best, (19 / 20)³ at the worst."""
    fewest, most = failures_between(1.0, 0.97, (100, 20), DIGIT)
    assert (fewest, most) == (1, 3)


def test_several_that_fail_at_one_time_lie_between_the_bounds():
    """Three of ten at once: survival 0.7, where one after the other would leave 0.9³."""
    fewest, most = failures_between(1.0, 0.7, (10, 10), DIGIT)
    assert fewest <= 3 <= most


def test_where_the_curve_is_level_nobody_failed():
    assert failures_between(0.95, 0.95, (60, 40), DIGIT) == (0, 0)
    assert failures_between(0.95, 0.95, (6000, 4000), DIGIT)[1] > 0  # one failure of so many takes less than a digit


def test_the_bounds_hold_of_every_curve_and_life_table():
    """Of made-up series in which implants fail, fall out and die in the same months, from year to year."""
    rng = np.random.default_rng(8)
    for _ in range(200):
        n = int(rng.integers(8, 60))
        months, failed = rng.integers(1, 40, n).astype(float), rng.random(n) < rng.random()
        curve, table = kaplan_meier(months, failed, np.arange(n)), life_table(months, failed, np.arange(n))
        for before, after in ((0.0, 12.0), (12.0, 24.0), (0.0, 24.0), (0.0, 36.0)):
            at_risk = [int((months >= month).sum()) for month in (before, after)]
            if not at_risk[1]:
                continue
            told = [(float(curve.at([month])[0][0]),) * 2 for month in (before, after)]
            fewest, most = failures_within(*told, at_risk)
            assert fewest <= (failed & (months > before) & (months <= after)).sum() <= most
            told = [(float(table.survival[table.start_months == month][0]),) * 2 for month in (before, after)]
            fewest, most = failures_within(*told, at_risk)
            assert fewest <= (failed & (months >= before) & (months < after)).sum() <= most


@pytest.mark.parametrize("interval", [exact, wilson])
def test_an_interval_and_its_share_give_both_counts_back(interval):
    printed = np.round([3 / 41, *interval(3, 41)], 3)
    assert counts_agreeing(lambda x, n: [x / n, *interval(x, n)], printed, DIGIT, 60) == [(3, 41)]


def test_a_bound_of_one_side_gives_the_number_of_patients_back():
    printed = round(largest_risk(20), 3)
    assert counts_agreeing(lambda x, n: [largest_risk(n) if x == 0 else -1], [printed], DIGIT, 60) == [(0, 20)]


def test_the_bound_of_few_is_that_of_the_exact_interval():
    """4 of 60: the limit of which 4 or fewer are 5 % likely."""
    bound = largest_risk(60, 4)
    assert stats.binom.cdf(4, 60, bound) == pytest.approx(0.05)
    assert largest_risk(60) == pytest.approx(1 - 0.05 ** (1 / 60))


def told_by_t(df: int, digits: int) -> tuple[float, float]:
    """Degrees of freedom that agree with an estimate of 1 and a standard error of 0.6 to so many decimals."""
    half = stats.t.ppf(0.975, df) * 0.6
    p = 2 * stats.t.sf(1 / 0.6, df)
    at = 0.5 * 10.0**-digits
    numbers = [(round(x, digits) - at, round(x, digits) + at) for x in (1.0, 1 - half, 1 + half, p)]
    return degrees_of_freedom(*numbers, 400, 0.95)


def test_estimate_interval_and_p_in_full_leave_one_number_of_degrees_of_freedom():
    assert told_by_t(11, 6) == (11, 11)


def test_two_decimals_leave_many():
    few, many = told_by_t(40, 2)
    assert few <= 40 - 5
    assert many >= 40 + 5
    assert math.isnan(degrees_of_freedom((1.0, 1.0), (0.9, 0.9), (1.1, 1.1), (0.5, 0.6), 50, 0.95)[0])


@pytest.mark.parametrize("unit", [0.01, 0.02, 0.05])
def test_a_rounded_curve_leaves_the_failures_open_and_holds_them(unit):
    """Of 400, 250 at risk at the later month, survival 0.93 and then 0.92: 28 and 3 more fail at the least."""
    before, after = (round(s / unit) * unit for s in (0.93, 0.92))
    ranges = [(s - unit / 2, s + unit / 2) for s in (before, after)]
    fewest, most = failures_within(*ranges, (400, 250))
    assert fewest <= 3 <= most
    assert most - fewest >= 2 * unit * 250 / 1.1 - 2


def test_the_middle_of_an_interval_tells_survival_more_closely_than_its_rounding():
    """Log of the negative log, 0.4 to either side of survival of 0.9: told to 5 per cent, the ends to a tenth."""
    loglog = np.log(-np.log(0.9))
    ends = [float(np.exp(-np.exp(loglog + by))) for by in (0.4, -0.4)]
    low, high = survival_within((0.875, 0.925), *((end - 0.0005, end + 0.0005) for end in ends))
    assert low <= 0.9 <= high
    assert high - low < 0.002
