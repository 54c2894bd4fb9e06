"""Resamples fitted and judged at once: each as the copied sites alone, fitted and judged by the single routines."""

import numpy as np
import pytest

from liftseries.estimators.gee import logistic_gee
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.prediction import c_statistic, calibration_intercept, calibration_slope
from liftseries.estimators.resampled import c_statistics, calibrations, resampled_gee

N_PATIENTS = 60


@pytest.fixture(scope="module")
def series():
    """Sites of patients with one to four, shuffled; the second column takes few values, so that scores are tied."""
    rng = np.random.default_rng(1)
    codes = np.repeat(np.arange(N_PATIENTS), rng.integers(1, 5, N_PATIENTS))
    rng.shuffle(codes)
    x = np.column_stack([np.ones(len(codes)), rng.integers(3, 8, len(codes)), rng.integers(0, 2, len(codes))]).astype(
        float
    )
    own = rng.normal(0, 1, N_PATIENTS)[codes]
    event = rng.random(len(codes)) < 1 / (1 + np.exp(2 + 0.3 * x[:, 1] - x[:, 2] - own - 1.5))
    times = rng.multinomial(N_PATIENTS, np.full(N_PATIENTS, 1 / N_PATIENTS), 25)
    return x, event, codes, times


def copied(codes, times):
    """The copied sites, and whose each is: every copy of a patient is a patient of its own."""
    sites, patients, number = [], [], 0
    for patient, often in enumerate(times):
        for _ in range(often):
            own = np.flatnonzero(codes == patient)
            sites += list(own)
            patients += [number] * len(own)
            number += 1
    return np.array(sites), np.array(patients)


def test_coefficients_are_those_of_the_copied_sites(series):
    x, event, codes, times = series
    coefficients, fitted = resampled_gee(x, event, codes, times)
    assert fitted.all()
    for found, drawn in zip(coefficients, times, strict=True):
        sites, patients = copied(codes, drawn)
        alone = logistic_gee(x[sites], event[sites], patients, few_clusters=0)
        np.testing.assert_allclose(found, alone.coefficients, rtol=1e-8, atol=1e-9)


def test_measures_are_those_of_the_copied_sites(series):
    x, event, codes, times = series
    rng = np.random.default_rng(2)
    scores = rng.normal(0, 1, (len(times), 1)) + rng.normal(0.4, 0.2, (len(times), 1)) * x[:, 1]
    counts = times[:, codes] * event, times[:, codes] * ~event
    (c,) = c_statistics(scores, counts)
    intercept, slope = (calibrations(scores, *counts, with_slope) for with_slope in (False, True))
    for k, drawn in enumerate(times):
        sites, patients = copied(codes, drawn)
        given = scores[k, sites], event[sites], patients
        np.testing.assert_allclose(c[k], c_statistic(*given).estimate, rtol=1e-12)
        np.testing.assert_allclose(intercept[k], calibration_intercept(*given).estimate, rtol=1e-9, atol=1e-10)
        np.testing.assert_allclose(slope[k], calibration_slope(*given).estimate, rtol=1e-9, atol=1e-10)


def test_resamples_that_need_a_closer_look_are_told(series):
    x, event, codes, _ = series
    without = np.isin(np.arange(N_PATIENTS), codes[event])
    no_event = np.where(without, 0, 2)
    one_column = np.bincount(codes, x[:, 2], N_PATIENTS) == 0  # whose third column is 0 throughout
    times = np.array([no_event, np.where(one_column, 3, 0), np.ones(N_PATIENTS, int)])
    assert resampled_gee(x, event, codes, times)[1].tolist() == [False, False, True]
    for drawn in times[:1]:
        sites, patients = copied(codes, drawn)
        with pytest.raises(NotFitted):
            logistic_gee(x[sites], event[sites], patients)


def test_separated_events_are_told():
    height = np.arange(20.0)
    x = np.column_stack([np.ones(20), height])
    assert not resampled_gee(x, height > 9, np.arange(20), np.ones((1, 20), int))[1][0]


def test_no_measure_without_events_or_scores(series):
    x, event, codes, times = series
    weights = times[:2, codes]
    scores = np.vstack([x[:, 1], np.full(len(x), np.nan)])
    counts, nobody = (weights * event, weights * ~event), (0 * weights, weights)
    assert np.isnan(c_statistics(scores, counts)[0]).tolist() == [False, True]
    assert np.isnan(calibrations(scores, *counts, False)).tolist() == [False, True]
    assert np.isnan(c_statistics(scores, nobody)[0]).all()
    assert np.isnan(calibrations(scores, *nobody, True)).all()
    assert np.isnan(calibrations(np.zeros_like(scores), *counts, True)).all()


def test_sites_with_one_score_may_be_counted_together(series):
    x, event, codes, times = series
    kinds, which = np.unique(x[:, 1], return_inverse=True)
    weights = times[:, codes]
    by_site = weights * event, weights * ~event
    by_kind = [np.array([np.bincount(which, row) for row in counts]) for counts in by_site]
    scores = np.outer(np.linspace(-1, 1, len(times)), kinds)
    (c,), (together,) = c_statistics(scores[:, which], by_site), c_statistics(scores, by_kind)
    np.testing.assert_allclose(together, c, rtol=1e-14)
    for with_slope in (False, True):
        alone = calibrations(scores[:, which], *by_site, with_slope)
        np.testing.assert_allclose(calibrations(scores, *by_kind, with_slope), alone, rtol=1e-9, atol=1e-10)
