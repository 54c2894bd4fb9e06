"""Counts of tears by convolution, against scipy, brute force over all outcomes, statsmodels and hand work."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy import stats
from scipy.special import expit, logit

from liftseries.estimators import clustered_count
from liftseries.estimators.clustered_count import (
    beta_binomial,
    correlation_of_patients,
    count_distribution,
    needed_sites,
    odds_times,
    shifted_to_mean,
    tails,
)
from liftseries.estimators.intervals import NotFitted


@pytest.mark.parametrize("m", [1, 2, 5, 12])
@pytest.mark.parametrize(("mean", "rho"), [(0.05, 0.1), (0.3, 0.6), (0.9, 0.01), (0.002, 0.3)])
def test_beta_binomial_is_scipys(m, mean, rho):
    a, b = mean * (1 - rho) / rho, (1 - mean) * (1 - rho) / rho
    np.testing.assert_allclose(beta_binomial(m, mean, rho), stats.betabinom(m, a, b).pmf(range(m + 1)), rtol=1e-9)


def test_without_correlation_it_is_the_binomial_and_with_nearly_all_it_is_all_or_none():
    np.testing.assert_allclose(beta_binomial(6, 0.07, 0.0), stats.binom(6, 0.07).pmf(range(7)), rtol=1e-12)
    np.testing.assert_allclose(beta_binomial(3, 0.2, 1 - 1e-12), [0.8, 0, 0, 0.2], atol=1e-11)


def by_brute_force(sizes, means, rho):
    """Every combination of the patients' counts, one after the other."""
    found = np.zeros(sum(sizes) + 1)
    of_patient = []
    for m, mean in zip(sizes, means, strict=True):
        a, b = mean * (1 - rho) / rho, (1 - mean) * (1 - rho) / rho
        of_patient.append([stats.betabinom(m, a, b).pmf(k) for k in range(m + 1)])
    for counts in product(*(range(m + 1) for m in sizes)):
        found[sum(counts)] += np.prod([one[k] for one, k in zip(of_patient, counts, strict=True)])
    return found


def test_the_convolution_is_the_sum_over_all_outcomes():
    sizes, means = [3, 1, 2, 1, 4, 2], [0.05, 0.2, 0.11, 0.03, 0.3, 0.07]
    found = count_distribution(np.array(sizes), np.array(means), 0.25)
    np.testing.assert_allclose(found, by_brute_force(sizes, means, 0.25), rtol=1e-10)
    shuffled = np.random.default_rng(1).permutation(6)
    other = count_distribution(np.array(sizes)[shuffled], np.array(means)[shuffled], 0.25)
    np.testing.assert_allclose(found, other, rtol=1e-12)


def test_no_patient_has_no_event():
    np.testing.assert_array_equal(count_distribution(np.array([], int), 0.1, 0.2), [1.0])


@pytest.mark.parametrize("n", [5, 20, 50, 120, 400])
@pytest.mark.parametrize("p", [0.03, 0.07, 0.4])
@pytest.mark.parametrize("area", [1 - stats.norm.cdf(2), 1 - stats.norm.cdf(3)])
def test_binomial_limits_are_exact(n, p, area):
    """The smallest x with P(X ≥ x) ≤ area, the largest with P(X ≤ x) ≤ area, by scipy's tails."""
    found = tails(count_distribution(np.ones(n, int), p, 0.0))
    x = np.arange(n + 1)
    high, low = x[stats.binom.sf(x - 1, n, p) <= area], x[stats.binom.cdf(x, n, p) <= area]
    assert found.upper(area) == (high[0] if len(high) else None)
    assert found.lower(area) == (low[-1] if len(low) else None)


def test_a_tail_on_its_limit_counts_and_one_just_above_does_not():
    """Two sites at 1/2: P(X ≥ 2) is 1/4."""
    found = tails(count_distribution(np.ones(2, int), 0.5, 0.0))
    assert found.upper(0.25) == 2
    assert found.upper(0.25 * (1 - 1e-10)) == 2
    assert found.upper(0.2499) is None
    assert found.lower(0.2499) is None
    assert found.lower(0.25) == found.lower(0.25 * (1 - 1e-10)) == 0
    assert found.beyond(0, 2) == pytest.approx(0.5)
    assert found.beyond(None, None) == 0


@pytest.mark.parametrize(("p", "area"), [(0.07, 1 - stats.norm.cdf(2)), (0.15, 0.05)])
def test_needed_sites_of_independent_sites(p, area):
    """The first number after which the power never falls below 0.8, by scipy up to four times as far."""
    power = []
    for n in range(1, 1200):
        beyond = np.flatnonzero(stats.binom.sf(np.arange(-1, n), n, p) <= area)
        power.append(stats.binom.sf(beyond[0] - 1, n, odds_times(p, 2)) if len(beyond) else 0.0)
    assert needed_sites(p, 0.0, 1, area) == 1 + max(n for n, one in enumerate(power, 1) if one < 0.8)


def test_needed_sites_grow_with_correlation_and_come_in_whole_patients():
    area = 1 - stats.norm.cdf(2)
    apart, alike = needed_sites(0.07, 0.0, 2, area), needed_sites(0.07, 0.4, 2, area)
    assert apart % 2 == 0
    assert apart < alike
    assert needed_sites(1e-5, 0.0, 1, area) is None


def test_one_patient_may_be_enough():
    """200 sites: at a risk of 0.3 some 72 tears are rare, at three times the odds some 112 come about."""
    assert needed_sites(0.3, 0.0, 200, 0.05, ratio=3.0) == 200


def test_sites_needed_are_looked_for_up_to_a_number_and_not_beyond(monkeypatch):
    needed = needed_sites(0.15, 0.0, 1, 0.05)
    monkeypatch.setattr(clustered_count, "MOST_SITES", needed)
    assert needed_sites(0.15, 0.0, 1, 0.05) == needed
    monkeypatch.setattr(clustered_count, "MOST_SITES", needed - 1)
    assert needed_sites(0.15, 0.0, 1, 0.05) is None


def test_odds_times_two():
    assert odds_times(0.2, 2) == pytest.approx(1 / 3)


def test_correlation_is_statsmodels():
    from statsmodels.genmod.cov_struct import Exchangeable
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_estimating_equations import GEE

    rng = np.random.default_rng(3)
    patient = np.repeat(np.arange(200), rng.integers(1, 4, 200))
    event = rng.random(len(patient)) < rng.beta(0.4, 2, 200)[patient]
    fit = GEE(event.astype(float), np.ones(len(event)), patient, family=Binomial(), cov_struct=Exchangeable()).fit()
    assert correlation_of_patients(event, patient) == pytest.approx(float(fit.cov_struct.dep_params), rel=1e-6)


def test_correlation_is_never_below_zero_and_is_that_of_independence_where_the_gee_is_refused():
    """Both sites of 1 of 2 patients torn: e = ±1, products of the two pairs 1 and 1, over 2 - 1 pairs, φ = 4 / 3.

    With two patients the bias-reduced GEE has an answer or none; either way no number is above the largest.
    """
    unlike = np.tile([True, False], 30)
    assert correlation_of_patients(unlike, np.repeat(np.arange(30), 2)) == 0
    assert correlation_of_patients(np.array([True, True, False, False]), np.array([0, 0, 0, 0])) == 0
    assert correlation_of_patients(np.zeros(5, bool), np.arange(5)) == 0
    alike = correlation_of_patients(np.array([True, True, False, False]), np.array([0, 0, 1, 1]))
    assert 0.9 < alike < 1


def test_without_a_gee_the_correlation_is_the_moment_of_the_residuals(monkeypatch):
    """Patients with 3 of 3, 1 of 2, 0 of 2 and 0 of 1: half of all sites, so that e = ±1 and φ = 8 / 7.

    Products of the pairs: 3 - 1 + 1 over 5 pairs less one, 3 / 4; divided by φ 21 / 32. With a single pair there is
    nothing to divide by.
    """

    def refused(*_):
        raise NotFitted

    monkeypatch.setattr(clustered_count, "logistic_gee", refused)
    event = np.array([1, 1, 1, 0, 1, 0, 0, 0], bool)
    assert correlation_of_patients(event, np.array(list("aaabbccd"))) == pytest.approx(21 / 32)
    assert correlation_of_patients(np.array([True, True, False]), np.array(list("aab"))) == 0


@pytest.mark.parametrize(
    ("log_odds", "mean"), [([], 0.1), ([0.2, 1.0], 0.0), ([0.2, 1.0], 1.0), ([0.2, np.inf], 0.1), ([np.nan, 1.0], 0.1)]
)
def test_no_shift_has_a_mean_out_of_reach(log_odds, mean):
    with pytest.raises(NotFitted):
        shifted_to_mean(np.array(log_odds), mean)


def test_a_row_of_many_sites_weighs_as_they_do():
    log_odds, n_sites = np.array([0.5, 2.0, 3.0]), np.array([5, 1, 2])
    apart = shifted_to_mean(np.repeat(log_odds, n_sites), 0.2)
    assert apart.mean() == pytest.approx(0.2)
    np.testing.assert_allclose(np.repeat(shifted_to_mean(log_odds, 0.2, n_sites), n_sites), apart)


def test_shifted_risks_have_the_mean_asked_for_and_the_same_odds_ratios():
    log_odds = np.array([-4.0, -3.0, -1.0, 0.5])
    found = shifted_to_mean(log_odds, 0.07)
    assert found.mean() == pytest.approx(0.07, rel=1e-12)
    np.testing.assert_allclose(np.diff(logit(found)), np.diff(log_odds), rtol=1e-10)
    np.testing.assert_allclose(shifted_to_mean(np.full(3, -1.0), expit(-2.0)), expit(-2.0))
    with pytest.raises(NotFitted, match="no site has its perforation and all terms recorded"):
        shifted_to_mean(np.array([]), 0.07)
