"""Draws of missing values: the logistic model stands where its penalised likelihood is flat, wherever it began."""

import numpy as np
import pytest
from scipy.special import expit

from liftseries.estimators.missing_values import PRIOR_SD, drawn_odds


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
