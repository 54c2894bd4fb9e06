"""CUSUM scores as printed, paths by hand, and what is simulated against exact sums over all states."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit

from liftseries.estimators.clustered_count import beta_binomial
from liftseries.estimators.cusum import (
    cusum_path,
    limit_of,
    maxima,
    run_length,
    scores,
    sequence_of,
    signals_of,
)

DRAWS = 20_000
SEED = 7


@pytest.mark.parametrize(
    ("parsonnet", "risk", "death", "survival"), [(0, 0.025, 0.67, -0.024), (50, 0.54, 0.26, -0.43)]
)
def test_scores_of_the_paper(parsonnet, risk, death, survival):
    """Steiner and others 2000, page 445 f.: logit p = -3.68 + 0.077 Parsonnet; 2.5 % and 54 %; scores from memory."""
    p = expit(-3.68 + 0.077 * parsonnet)
    assert p == pytest.approx(risk, abs=0.005)
    assert scores([1, 0], [p, p], 2.0) == pytest.approx([death, survival], abs=0.005)


def test_score_that_looks_for_lower_odds():
    """Rigdon and Fricker 2015, page 225 f.: Parsonnet 19, logit p = -3.67 + 0.077 × 19, alive: 0.05083."""
    assert scores([0], [expit(-3.67 + 0.077 * 19)], 0.5) == pytest.approx([0.05083], abs=5e-6)


def test_path_by_hand_starts_anew_after_a_signal():
    """ln 2 twice is 1.386 at q = 0; a limit of 1.3 is passed at the second, and the third starts from 0."""
    path, signal = cusum_path(scores([1, 1, 1, 0], np.zeros(4), 2.0), 1.3)
    np.testing.assert_allclose(path, np.log(2) * np.array([1, 2, 1, 1]))
    assert signal.tolist() == [False, True, False, False]
    path, signal = cusum_path(np.array([-0.5, 0.2, -0.1]), 0.2)
    np.testing.assert_allclose(path, [0, 0.2, 0])
    assert signal.tolist() == [False, True, False]


def test_the_limit_is_the_smallest_maximum_that_is_rare_enough():
    largest = np.array([0.0] * 90 + [1.0] * 6 + [2.0] * 3 + [3.0])
    assert limit_of(largest, 0.05).value == 2.0
    assert limit_of(largest, 0.04).value == 2.0
    assert limit_of(largest, 0.039).value == 3.0
    assert np.isnan(limit_of(largest, 0.005).value)
    assert limit_of(largest, 0.1).value == 1.0


def test_patients_come_whole_again_and_again():
    cases = sequence_of(np.array([0.1, 0.2, 0.3, 0.4]), np.array(["a", "b", "a", "c"]), 7)
    np.testing.assert_allclose(cases.expected, [0.1, 0.3, 0.2, 0.4, 0.1, 0.3, 0.2])
    assert cases.patient.tolist() == [0, 0, 1, 2, 3, 3, 4]
    np.testing.assert_allclose(cases.mean, [0.2, 0.2, 0.4, 0.2, 0.2])
    assert len(sequence_of(np.array([0.1, 0.1, 0.1]), np.array(["a", "b", "b"]), 2)) == 1  # b does not go in whole
    assert len(sequence_of(np.array([0.1, 0.1, 0.1]), np.array(["a", "a", "a"]), 2)) == 3  # the first always does


def test_a_patients_draws_are_beta_binomial():
    cases = sequence_of(np.full(4, 0.2), np.zeros(4, int))
    counts = cases.drawn(np.random.default_rng(SEED), DRAWS, 0.3).sum(axis=0)
    exact = beta_binomial(4, 0.2, 0.3)
    seen = np.bincount(counts, minlength=5) / DRAWS
    assert (np.abs(seen - exact) < 4 * np.sqrt(exact * (1 - exact) / DRAWS)).all()


def exact_course(q, ratio, limit, n, true=None):
    """Chance of no signal after each of n independent cases, over all sums that can be reached, none left out."""
    true = q if true is None else true
    going, alive = {0.0: 1.0}, []
    for _ in range(n):
        new = {}
        for s, chance in going.items():
            for event, part in ((1, true), (0, 1 - true)):
                total = max(0.0, s + event * np.log(ratio) - np.log(1 - q + ratio * q))
                if total < limit - 1e-9:
                    key = round(total, 10)
                    new[key] = new.get(key, 0.0) + chance * part
        going = new
        alive.append(sum(going.values()))
    return np.array(alive)


@pytest.mark.parametrize(("ratio", "limit"), [(2.0, 2.5), (0.5, 1.9)])
def test_false_alarms_and_run_lengths_are_the_exact_ones(ratio, limit):
    q, n = 0.08, 60
    cases = sequence_of(np.full(n, q), np.arange(n))
    random = np.random.default_rng(SEED)
    drawn = cases.drawn(random, DRAWS, 0.0)
    exact = 1 - exact_course(q, ratio, limit, n)[-1]
    error = np.sqrt(exact * (1 - exact) / DRAWS)
    largest = maxima(drawn, cases.expected, ratio)
    assert (largest >= limit - 1e-9).mean() == pytest.approx(exact, abs=3 * error)
    signals = signals_of(drawn, cases.expected, ratio, limit)
    assert ((signals > 0) == (largest >= limit - 1e-9)).all()
    long = sequence_of(np.full(n, q), np.arange(n), 900)
    median, error = run_length(long, ratio, limit, 900, random, DRAWS, 0.0)
    alive = exact_course(q, ratio, limit, 400, true=ratio * q / (1 - q + ratio * q))
    assert median == pytest.approx(1 + int((alive > 0.5).sum()), abs=max(1, 3 * error))
    off = 0.5 / np.sqrt(DRAWS)  # of the share without a signal at the median
    assert error == pytest.approx(((alive > 0.5 - off).sum() - (alive > 0.5 + off).sum()) / 2, abs=0.5)


def test_the_error_of_a_limit_is_that_of_the_quantile():
    """Of maxima spread evenly over 0 to 1 it is the error of the share itself."""
    found = limit_of(np.arange(1, 1001) / 1000, 0.05)
    assert found.value == pytest.approx(0.951)
    assert found.error == pytest.approx(np.sqrt(0.05 * 0.95 / 1000), rel=1e-3)


def test_a_run_without_a_signal_ends_at_the_most():
    cases = sequence_of(np.full(10, 0.05), np.arange(10), 30)
    assert run_length(cases, 2.0, 99.0, 30, np.random.default_rng(1), 100, 0.0)[0] == 30
