"""Intervals of a share: Wilson's and the exact one against statsmodels to the last bit, the clustered one against R."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.special import expit, logit
from scipy.stats import binom, t
from statsmodels.stats.proportion import proportion_confint

from liftseries.estimators.intervals import CONF_LEVEL, NotFitted
from liftseries.estimators.proportion import exact, largest_risk, share_of_patients, wilson

SERIES_A = Path(__file__).parents[1] / "against_r" / "sim_implants_A.csv"


@pytest.mark.parametrize(("interval", "named"), [(wilson, "wilson"), (exact, "beta")])
@pytest.mark.parametrize("n", [2, 3, 7, 40, 634, 12345])
def test_interval_equals_the_librarys(interval, named, n):
    for n_events in {1, 2, n // 3, n // 2, n - 1} - {0, n}:
        assert interval(n_events, n) == proportion_confint(n_events, n, alpha=1 - CONF_LEVEL, method=named)


@pytest.mark.parametrize("interval", [wilson, exact])
def test_limits_without_or_with_only_events_are_exact(interval):
    assert interval(0, 40)[0] == 0
    assert interval(40, 40)[1] == 1
    assert interval(0, 40)[1] == pytest.approx(1 - interval(40, 40)[0])


@pytest.mark.parametrize("n", [1, 7, 40, 300])
def test_at_the_largest_risk_so_few_events_are_five_in_a_hundred(n):
    for n_events in {0, 1, n // 3, n - 1} - {n}:
        assert binom.cdf(n_events, n, largest_risk(n, n_events)) == pytest.approx(0.05)
    assert largest_risk(n) == pytest.approx(1 - 0.05 ** (1 / n))
    assert largest_risk(n, n) == 1


def test_share_of_patients_is_rs_svymean_but_for_its_factor():
    """survey 4.1.1: svymean 0.0689655172414 (0.0169284240651), svyciprop logit 0.0421783882451 to 0.11079700744.

    There K / (K - 1), here m / (m - 1) of the patients with an event, who are fewer.
    """
    with SERIES_A.open(newline="") as file:
        rows = list(csv.DictReader(file))
    event = np.array([row["perforation"] == "1" for row in rows])
    patient = np.array([row["patient_id"] for row in rows])
    k, m = len(set(patient)), len(set(patient[event]))
    ours = share_of_patients(event, patient)
    as_survey = ours.std_error * np.sqrt((m - 1) / m * k / (k - 1))
    assert ours.estimate == pytest.approx(0.0689655172414, rel=1e-11)
    assert as_survey == pytest.approx(0.0169284240651, rel=1e-10)
    half = t.ppf(0.975, k - 1) * as_survey / (ours.estimate * (1 - ours.estimate))
    assert expit(logit(ours.estimate) + np.array([-half, half])) == pytest.approx(
        [0.0421783882451, 0.11079700744], 1e-9
    )
    assert ours.df == k - 1


def test_share_of_patients_worked_by_hand():
    """Four patients with 1 of 2, 1 of 1, 0 of 3, 0 of 2: p = 2/8, m = 2, Σ (x - n p)² = 1/4 + 9/16 + 9/16 + 1/4."""
    event = np.array([1, 0, 1, 0, 0, 0, 0, 0], bool)
    patient = np.array(["a", "a", "b", "c", "c", "c", "d", "d"])
    ours = share_of_patients(event, patient)
    error = np.sqrt(2 / 1 * (1 / 4 + 9 / 16 + 9 / 16 + 1 / 4)) / 8
    assert ours.std_error == pytest.approx(error)
    # 3.1824: t of three degrees of freedom, NIST/SEMATECH e-Handbook, table 1.3.6.7.2; 3 / 16 = p (1 - p)
    assert ours.conf_low == pytest.approx(expit(logit(1 / 4) - 3.1824 * error / (3 / 16)), rel=1e-4)
    assert ours.conf_high == pytest.approx(expit(logit(1 / 4) + 3.1824 * error / (3 / 16)), rel=1e-4)
    shuffled = np.random.default_rng(1).permutation(8)
    again = share_of_patients(event[shuffled], patient[shuffled])
    assert (again.conf_low, again.conf_high) == pytest.approx((ours.conf_low, ours.conf_high))


def test_one_patient_with_events_has_the_exact_interval_of_one_in_k_widened():
    """One patient of twelve has 9 of the 20 sites, all torn: 0.45 lies beyond the limits of 1 in 12.

    Clopper and Pearson's lower limit of 1 in K is 1 - 0.975^(1/K), 0.0021 for twelve; the upper one is 0.3848.
    """
    lowest = 1 - 0.975 ** (1 / 12)
    event = np.array([1] * 9 + [0] * 11, bool)
    patient = np.array([0] * 9 + list(range(1, 12)))
    ours = share_of_patients(event, patient)
    assert (ours.conf_low, ours.conf_high) == (pytest.approx(lowest), 0.45)
    mirrored = share_of_patients(~event, patient)
    assert (mirrored.conf_low, mirrored.conf_high) == (0.55, pytest.approx(1 - lowest))
    assert np.isnan(ours.std_error)


@pytest.mark.parametrize(("event", "low", "high"), [(False, 0.0, 1 - 0.05 ** (1 / 30)), (True, 0.05 ** (1 / 30), 1.0)])
def test_no_event_or_nothing_else_has_the_bound_of_one_side(event, low, high):
    ours = share_of_patients(np.full(60, event), np.repeat(np.arange(30), 2))
    assert (ours.estimate, ours.conf_low, ours.conf_high) == pytest.approx((float(event), low, high))
    assert ours.note == "a bound of one side, as all sites are alike"


def test_patients_all_alike_have_a_share_and_no_interval():
    ours = share_of_patients(np.tile([True, False], 5), np.repeat(np.arange(5), 2))
    assert ours.estimate == 0.5
    assert np.isnan([ours.std_error, ours.conf_low, ours.conf_high]).all()


def test_one_patient_has_no_share():
    with pytest.raises(NotFitted, match="one patient"):
        share_of_patients(np.array([True, False]), np.array(["a", "a"]))
