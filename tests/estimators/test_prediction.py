"""Discrimination and calibration: a textbook's pairs, leaving patients out, and what has no answer."""

import numpy as np
import pytest

from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.prediction import c_statistic, calibration_intercept, calibration_slope

MEASURES = (c_statistic, calibration_intercept, calibration_slope)


@pytest.fixture(scope="module")
def scored():
    """Scores that are too bold, events and patients: 700 patients with 1-3 sites, a tear in one of five."""
    rng = np.random.default_rng(8)
    patient = np.repeat(np.arange(700), rng.integers(1, 4, 700))
    log_odds = -1.5 + rng.normal(0, 0.8, len(patient)) + rng.normal(0, 0.6, 700)[patient]
    event = rng.random(len(patient)) < 1 / (1 + np.exp(-log_odds))
    return 2 * log_odds + 1, event, patient


def test_c_statistic_counts_pairs():
    """Scores 1, 2 without and 2, 3 with the event: of four pairs three are in order and one is tied, so 3.5 / 4."""
    found = c_statistic(np.array([1.0, 2, 2, 3]), np.array([False, False, True, True]), np.arange(4))
    assert found.estimate == 3.5 / 4


def test_a_bold_score_has_a_slope_below_one(scored):
    assert 0.3 < calibration_slope(*scored).estimate < 0.6
    shifted = scored[0] - 5
    assert calibration_intercept(shifted, *scored[1:]).estimate > calibration_intercept(*scored).estimate


@pytest.mark.parametrize("measure", MEASURES)
def test_standard_error_is_that_of_leaving_patients_out(scored, measure):
    """Sandwich and jackknife differ by the order of 1 / (patients with an event): within 2 % of about 300 of them."""
    score, event, patient = scored
    whole = measure(score, event, patient)
    without = [measure(score[patient != p], event[patient != p], patient[patient != p]).estimate for p in range(700)]
    jackknife = np.sqrt(699 / 700 * ((np.array(without) - np.mean(without)) ** 2).sum())
    assert whole.std_error == pytest.approx(jackknife, rel=0.02)


@pytest.mark.parametrize("measure", MEASURES)
def test_without_events_or_with_nothing_else_there_is_no_answer(measure):
    for event in (np.zeros(4, bool), np.ones(4, bool)):
        with pytest.raises(NotFitted, match="perforated"):
            measure(np.array([1.0, 2, 3, 4]), event, np.arange(4))


def test_perfect_or_useless_scores_cannot_be_calibrated():
    with pytest.raises(NotFitted, match="no finite answer"):
        calibration_slope(np.array([-2.0, -1, 1, 2]), np.array([False, False, True, True]), np.arange(4))
    with pytest.raises(NotFitted, match="alike"):
        calibration_slope(np.ones(4), np.array([False, False, True, True]), np.arange(4))
