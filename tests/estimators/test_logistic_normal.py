"""The logistic-normal model, against metafor, lme4 (tests/against_r/audit.R) and numerical integration."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit
from scipy.stats import norm

from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.logistic_normal import _log_likelihood, _peaks, logistic_normal, posterior
from liftseries.study.published import published_counts

# metafor's rma.glmm(measure = "PLO", nAGQ = 25) of the same rows, as the project's references print it.
METAFOR = {"mean": -3.732284, "std_error": 0.3258285, "sd": 0.6812367}
PREDICTION = (0.00497, 0.1028)


@pytest.fixture(scope="module")
def published():
    table = published_counts()
    return table["events"].to_numpy(float), table["denominator"].to_numpy(float)


def test_pooled_published_counts_are_metafors(published):
    model = logistic_normal(*published)
    assert len(published[0]) == 24
    for name, value in METAFOR.items():
        assert getattr(model, name) == pytest.approx(value, rel=1e-5), name
    assert model.prediction() == pytest.approx(PREDICTION, rel=1e-3)
    assert model.place_of(model.prediction()[0]) == pytest.approx(0.025, abs=1e-9)
    assert (model.place_of(0.0), model.place_of(1.0)) == (0, 1)


def by_quadrature(x, n, mean, sd, weigh=lambda eta: 1.0, upper=np.inf):
    def integrand(eta):
        return weigh(eta) * np.exp(x * eta - n * np.logaddexp(0, eta)) * norm.pdf(eta, mean, sd)

    return quad(integrand, mean - 12 * sd, min(upper, mean + 12 * sd), epsabs=0, epsrel=1e-12, limit=500)[0]


def test_likelihood_posterior_mean_and_quantiles_are_those_of_numerical_integration():
    x, n, mean, sd = np.array([3.0, 0.0, 4.5]), np.array([20.0, 12.0, 31.25]), -2.2, 0.6
    by_hand = sum(np.log(by_quadrature(*one, mean, sd)) for one in zip(x, n, strict=True))
    assert _log_likelihood(x, n, mean, sd) == pytest.approx(by_hand, rel=1e-10)
    model = logistic_normal(np.array([3.0, 0, 4.5, 9]), np.array([20.0, 12, 31.25, 30]))
    assert model.sd > 0
    for one, told in zip(zip(x, n, strict=True), posterior(model, x, n), strict=True):
        whole = by_quadrature(*one, model.mean, model.sd)
        assert told[0] == pytest.approx(by_quadrature(*one, model.mean, model.sd, weigh=expit) / whole, rel=1e-8)
        for area, limit in zip((0.025, 0.975), told[1:], strict=True):
            below = by_quadrature(*one, model.mean, model.sd, upper=np.log(limit / (1 - limit)))
            assert below / whole == pytest.approx(area, rel=1e-6)


def test_units_alike_have_no_variance_and_the_binomial_error():
    x, n = np.array([2.0, 2, 2, 2]), np.array([20.0, 20, 20, 20])
    model = logistic_normal(x, n)
    assert model.sd == 0
    assert model.mean == pytest.approx(np.log(0.1 / 0.9))
    assert model.std_error == pytest.approx((80 * 0.1 * 0.9) ** -0.5)
    assert model.log_likelihood == pytest.approx(8 * np.log(0.1) + 72 * np.log(0.9))
    np.testing.assert_allclose(posterior(model, x, n), 0.1)


def test_at_its_peak_an_integrand_has_no_slope_and_the_curvature_told():
    x, n, mean, sd = np.array([3.0, 0.0, 4.5]), np.array([20.0, 12.0, 31.25]), -2.2, 0.6
    peak, spread = _peaks(x, n, mean, sd)
    risk = expit(peak)
    np.testing.assert_allclose(x - n * risk, (peak - mean) / 0.36, rtol=1e-9)
    np.testing.assert_allclose(spread**-2, n * risk * (1 - risk) + 1 / 0.36)


@pytest.mark.parametrize(
    ("x", "n", "words"),
    [
        ([0, 0], [5, 5], "no site had the event"),
        ([5, 5], [5, 5], "every site had the event"),
        ([1], [5], "too few units"),
    ],
)
def test_no_event_nothing_but_events_or_one_unit_is_refused(x, n, words):
    with pytest.raises(NotFitted, match=words):
        logistic_normal(np.array(x), np.array(n))


def test_order_of_units_changes_nothing(published):
    shuffled = np.random.default_rng(2).permutation(len(published[0]))
    one, other = logistic_normal(*published), logistic_normal(*(part[shuffled] for part in published))
    assert other.mean == pytest.approx(one.mean, rel=1e-7)
    assert other.sd == pytest.approx(one.sd, rel=1e-6)
