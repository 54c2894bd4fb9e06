"""Draws of missing values: the logistic model stands where its penalised likelihood is flat, wherever it began."""

import numpy as np
import pytest
from scipy import sparse
from scipy.special import expit

from liftseries.estimators.missing_values import PRIOR_SD, drawn_numbers, drawn_odds
from liftseries.estimators.predictors import Predictors


def full(rows):
    return Predictors.of([rows])


@pytest.fixture
def units():
    """Predictors of 300 known and 40 missing units, the third the sum of the others, and a level of the known."""
    rng = np.random.default_rng(4)
    two = rng.normal(3.0, 1.0, (2, 340))
    x = np.vstack([two, two.sum(axis=0)])
    return x[:, :300], rng.random(300) < expit(x[0, :300] - 3), x[:, 300:]


def test_the_slope_of_the_penalised_likelihood_is_nought(units):
    known, has, missing = units
    likeliest = drawn_odds(full(known), has, full(missing), np.random.default_rng(1))[1]
    off = known - known.mean(axis=1, keepdims=True)
    at_means = likeliest[0] + likeliest[1:] @ known.mean(axis=1)
    left = has - expit(at_means + likeliest[1:] @ off)
    assert left.sum() == pytest.approx(at_means / (4 * PRIOR_SD) ** 2, abs=1e-9)
    np.testing.assert_allclose(off @ left, likeliest[1:] / PRIOR_SD**2, atol=1e-9)


def test_where_the_search_begins_changes_no_draw(units):
    asked = full(units[0]), units[1], full(units[2])
    first, likeliest = drawn_odds(*asked, np.random.default_rng(1))
    for start in (likeliest, likeliest + 0.3, np.array([-4.0, 1.0, 2.0, -1.0])):
        again, same = drawn_odds(*asked, np.random.default_rng(1), start)
        np.testing.assert_allclose(again, first, atol=1e-9)
        np.testing.assert_allclose(same, likeliest, atol=1e-9)


def test_which_way_a_library_lets_directions_point_changes_no_draw(units, monkeypatch):
    """LAPACK settles it by its last digits, which differ from build to build."""
    known, has, missing = units

    def drawn():
        chance = drawn_odds(full(known), has, full(missing), np.random.default_rng(1))[0]
        return chance, drawn_numbers(full(known), known[0] * 2 + has, full(missing), np.random.default_rng(1))

    def turned(matrix, eigh=np.linalg.eigh):
        variances, directions = eigh(matrix)
        return variances, directions * np.resize([-1, 1], len(variances))

    before = drawn()
    monkeypatch.setattr("numpy.linalg.eigh", turned)
    for one, other in zip(before, drawn(), strict=True):
        np.testing.assert_allclose(other, one, atol=1e-12)


@pytest.fixture
def centres():
    """300 known and 40 missing units at 25 centres and two operators each, in full: every centre is a sum of rows.

    Nothing is known at the first centre: its operators are nought among the known, and the others' rows add up to 1.
    """
    rng = np.random.default_rng(8)
    centre = np.r_[rng.integers(1, 25, 300), rng.integers(0, 25, 40)]
    operator = 2 * centre + rng.integers(0, 2, 340)
    levels = 2.0 * np.vstack([centre == np.arange(1, 25)[:, None], operator == np.arange(1, 50)[:, None]])
    number = rng.normal(1.0, 1.0, (1, 340))
    has = rng.random(300) < expit(number[0, :300] - 1 + (centre[:300] % 3 - 1))
    return number, levels, has


def drawn_of(number, levels, has):
    """The chances and the numbers drawn for the 40."""
    x = Predictors.of([number, levels])
    known, missing = x.at(np.arange(340) < 300), x.at(np.arange(300, 340))
    odds, likeliest = drawn_odds(known, has, missing, np.random.default_rng(1))
    return odds, likeliest, drawn_numbers(known, number[0, :300] + has, missing, np.random.default_rng(1))


def test_rows_kept_by_their_entries_give_the_draws_of_rows_in_full(centres):
    number, levels, has = centres
    in_full = drawn_of(number, levels, has)
    for one, other in zip(in_full, drawn_of(number, sparse.csc_array(levels), has), strict=True):
        np.testing.assert_allclose(other, one, atol=1e-9)


def test_rows_kept_by_their_entries_come_after_those_in_full(centres):
    number, levels, _ = centres
    x = Predictors.of([sparse.csc_array(levels[:9]), number, sparse.csc_array(levels[9:])])
    np.testing.assert_array_equal(np.vstack([x.full, x.few.toarray()]), np.vstack([number, levels]))


def test_no_draw_follows_what_does_not_vary_among_the_known(centres):
    """At the first centre, where nothing is known, a direction counts that does not vary among the known.

    A coefficient drawn for it by its prior would make the log odds there vary by more than 1.
    """
    number, levels, has = centres
    x = Predictors.of([number, sparse.csc_array(levels)])
    known = x.at(np.arange(300))
    nowhere = Predictors.of([number[:, :1] * 0 + 1, sparse.csc_array((len(levels), 1))])
    rng = np.random.default_rng(3)
    chances = np.array([drawn_odds(known, has, nowhere, rng)[0][0] for _ in range(200)])
    assert np.std(np.log(chances / (1 - chances))) < 1


def test_a_draw_is_that_of_the_directions_that_vary(centres):
    """Covariance of coefficients worked out in those directions alone: (B' (X W X' + P) B)^-1 about the likeliest."""
    number, levels, has = centres
    x = np.vstack([number, levels])[:, :300]
    known = Predictors.of([number, sparse.csc_array(levels)]).at(np.arange(300))
    off = np.vstack([np.ones(300), x - x.mean(axis=1, keepdims=True)])
    variances, directions = np.linalg.eigh(off @ off.T / 300)
    basis = directions[:, variances > 1e-9]
    likeliest = drawn_odds(known, has, known, np.random.default_rng(1))[1]
    risk = expit(likeliest[0] + likeliest[1:] @ x)
    precision = np.r_[1 / (4 * PRIOR_SD) ** 2, np.full(len(x), 1 / PRIOR_SD**2)]
    information = basis.T @ ((off * risk * (1 - risk)) @ off.T + np.diag(precision)) @ basis
    rng = np.random.default_rng(2)
    chances = np.array([drawn_odds(known, has, known, rng)[0] for _ in range(400)])
    spread = np.log(chances / (1 - chances)).var(axis=0)
    expected = np.einsum("iu,ij,ju->u", basis.T @ off, np.linalg.inv(information), basis.T @ off)
    assert (spread / expected).mean() == pytest.approx(1, rel=0.05)


def test_drawn_coefficients_vary_as_the_inverse_information_says(units):
    """One predictor: over many draws the log odds at its mean have the posterior's standard deviation."""
    known, has, _ = units
    one, at_mean = known[:1], known[:1].mean(axis=1, keepdims=True)
    rng = np.random.default_rng(2)
    draws = [drawn_odds(full(one), has, full(at_mean), rng)[0][0] for _ in range(2000)]
    likeliest = drawn_odds(full(one), has, full(at_mean), rng)[1]
    risk = expit(likeliest[0] + likeliest[1] * one[0])
    x = np.vstack([np.ones(300), one[0] - at_mean[0, 0]])
    information = (x * risk * (1 - risk)) @ x.T + np.diag([1 / (4 * PRIOR_SD) ** 2, 1 / PRIOR_SD**2])
    expected = np.sqrt(np.linalg.inv(information)[0, 0])
    assert np.std(np.log(draws) - np.log1p(-np.array(draws))) == pytest.approx(expected, rel=0.06)
