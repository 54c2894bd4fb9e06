"""Draws of missing values: the logistic model stands where its penalised likelihood is flat, wherever it began."""

import numpy as np
import pytest
from scipy.special import expit

from liftseries.estimators.missing_values import PRIOR_SD, drawn_numbers, drawn_odds


@pytest.fixture
def units():
    """Predictors of 300 known and 40 missing units, the third the sum of the others, and a level of the known."""
    rng = np.random.default_rng(4)
    two = rng.normal(3.0, 1.0, (2, 340))
    x = np.vstack([two, two.sum(axis=0)])
    return x[:, :300], rng.random(300) < expit(x[0, :300] - 3), x[:, 300:]


def test_the_slope_of_the_penalised_likelihood_is_nought(units):
    known, has, missing = units
    likeliest = drawn_odds(known, has, missing, np.random.default_rng(1))[1]
    off = known - known.mean(axis=1, keepdims=True)
    at_means = likeliest[0] + likeliest[1:] @ known.mean(axis=1)
    left = has - expit(at_means + likeliest[1:] @ off)
    assert left.sum() == pytest.approx(at_means / (4 * PRIOR_SD) ** 2, abs=1e-9)
    np.testing.assert_allclose(off @ left, likeliest[1:] / PRIOR_SD**2, atol=1e-9)


def test_where_the_search_begins_changes_no_draw(units):
    first, likeliest = drawn_odds(*units, np.random.default_rng(1))
    for start in (likeliest, likeliest + 0.3, np.array([-4.0, 1.0, 2.0, -1.0])):
        again, same = drawn_odds(*units, np.random.default_rng(1), start)
        np.testing.assert_allclose(again, first, atol=1e-9)
        np.testing.assert_allclose(same, likeliest, atol=1e-9)


def test_which_way_a_library_lets_directions_point_changes_no_draw(units, monkeypatch):
    """LAPACK settles it by its last digits, which differ from build to build."""
    known, has, missing = units

    def drawn():
        chance = drawn_odds(known, has, missing, np.random.default_rng(1))[0]
        return chance, drawn_numbers(known, known[0] * 2 + has, missing, np.random.default_rng(1))

    def turned(matrix, eigh=np.linalg.eigh):
        variances, directions = eigh(matrix)
        return variances, directions * np.resize([-1, 1], len(variances))

    before = drawn()
    monkeypatch.setattr("numpy.linalg.eigh", turned)
    for one, other in zip(before, drawn(), strict=True):
        np.testing.assert_allclose(other, one, atol=1e-12)


def test_drawn_coefficients_vary_as_the_inverse_information_says(units):
    """One predictor: over many draws the log odds at its mean have the posterior's standard deviation."""
    known, has, _ = units
    one, at_mean = known[:1], known[:1].mean(axis=1, keepdims=True)
    rng = np.random.default_rng(2)
    draws = [drawn_odds(one, has, at_mean, rng)[0][0] for _ in range(2000)]
    likeliest = drawn_odds(one, has, at_mean, rng)[1]
    risk = expit(likeliest[0] + likeliest[1] * one[0])
    x = np.vstack([np.ones(300), one[0] - at_mean[0, 0]])
    information = (x * risk * (1 - risk)) @ x.T + np.diag([1 / (4 * PRIOR_SD) ** 2, 1 / PRIOR_SD**2])
    expected = np.sqrt(np.linalg.inv(information)[0, 0])
    assert np.std(np.log(draws) - np.log1p(-np.array(draws))) == pytest.approx(expected, rel=0.06)
