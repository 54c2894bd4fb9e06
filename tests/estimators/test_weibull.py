"""Weibull regression of intervals: derivatives, closed forms, other units, and likelihoods without a maximum."""

import numpy as np
import pytest

from liftseries.estimators import weibull
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.weibull import _IntervalLikelihood, weibull_interval

VISITS = np.array([0.0, 3, 6, 12, 24, 36, 60, np.inf])


def between_visits(time, visits=VISITS):
    found = np.searchsorted(visits, time)
    return visits[found - 1], visits[found]


def mixed_series(rng, n):
    """Times between visits, exact, right- and left-censored; two terms; up to three implants a patient."""
    x = np.column_stack([np.ones(n), rng.normal(0, 1, n), rng.random(n) < 0.4]).astype(float)
    time = np.exp(x @ [3.5, 0.4, -0.6]) * rng.exponential(1, n) ** (1 / 1.3)
    left, right = between_visits(time)
    exact = rng.random(n) < 0.2
    left, right = np.where(exact, time, left), np.where(exact, time, right)
    return left, right, x, rng.integers(0, n // 2, n)


def test_scores_and_information_are_the_derivatives():
    """Central differences of the log-likelihood, and of the scores."""
    left, right, x, _ = mixed_series(np.random.default_rng(1), 80)
    likelihood = _IntervalLikelihood(left, right, x, 2.0)
    theta, h = np.array([1.2, 0.3, -0.5, 0.9]), 1e-5
    _, scores, information = likelihood(theta)
    ends = [(likelihood(theta + h * unit), likelihood(theta - h * unit)) for unit in np.eye(4)]
    slope = [(up[0] - down[0]) / (2 * h) for up, down in ends]
    curvature = [(up[1] - down[1]).sum(axis=0) / (2 * h) for up, down in ends]
    np.testing.assert_allclose(scores.sum(axis=0), slope, rtol=1e-6)
    np.testing.assert_allclose(-information, curvature, rtol=1e-6, atol=1e-5)


def test_the_sandwich_sums_scores_within_patients():
    """In β and log shape from the definition: numerical scores of each implant, numerical Hessian."""
    left, right, x, patient = mixed_series(np.random.default_rng(2), 90)
    fit = weibull_interval(left, right, x, patient)

    def log_likelihoods(parameters):
        shape = np.exp(parameters[-1])
        scale = np.exp(x @ parameters[:-1])
        survival_left = np.where(left > 0, np.exp(-((left / scale) ** shape)), 1.0)
        survival_right = np.where(
            np.isfinite(right), np.exp(-((np.where(np.isfinite(right), right, 1) / scale) ** shape)), 0
        )
        density = shape / scale * (left / scale) ** (shape - 1) * survival_left
        return np.log(np.where(left == right, density, survival_left - survival_right))

    def scores(parameters, h=1e-5):
        ends = [(log_likelihoods(parameters + h * u), log_likelihoods(parameters - h * u)) for u in np.eye(4)]
        return np.column_stack([(up - down) / (2 * h) for up, down in ends])

    with np.errstate(divide="ignore", invalid="ignore"):
        assert fit.log_likelihood == pytest.approx(log_likelihoods(fit.parameters).sum(), rel=1e-10)
        at = scores(fit.parameters)
        h = 1e-4
        hessian = np.array(
            [(scores(fit.parameters + h * u) - scores(fit.parameters - h * u)).sum(0) for u in np.eye(4)]
        )
    naive = np.linalg.inv(-hessian / (2 * h))
    sums = np.array([at[patient == p].sum(axis=0) for p in np.unique(patient)])
    np.testing.assert_allclose(at.sum(axis=0), 0, atol=1e-5)
    np.testing.assert_allclose(fit.naive_covariance, naive, rtol=1e-3, atol=1e-6)
    np.testing.assert_allclose(fit.covariance, naive @ sums.T @ sums @ naive, rtol=1e-3, atol=1e-6)


def test_two_visits_have_a_closed_form():
    """Of 100, 10 failed by 6 and 15 more by 24, the rest stand: cumulative hazards log(100 / 90) and log(100 / 75)."""
    left, right = np.repeat([0.0, 6, 24], [10, 15, 75]), np.repeat([6.0, 24, np.inf], [10, 15, 75])
    fit = weibull_interval(left, right, np.ones((100, 1)), np.arange(100))
    shape = np.log(np.log(100 / 75) / np.log(100 / 90)) / np.log(24 / 6)
    scale = np.log(6) - np.log(np.log(100 / 90)) / shape
    np.testing.assert_allclose(fit.parameters, [scale, np.log(shape)], rtol=1e-9)
    survival, std_error, naive = fit.mean_survival(np.ones((100, 1)), [6, 24])
    np.testing.assert_allclose(survival, [0.9, 0.75], rtol=1e-9)
    np.testing.assert_allclose(std_error, [np.sqrt(0.9 * 0.1 / 100), np.sqrt(0.75 * 0.25 / 100)], rtol=1e-8)
    np.testing.assert_allclose(naive, std_error, rtol=1e-8)


def test_years_and_other_units_change_nothing():
    """Months to years moves the intercept by log 12; a term in hundreds has a coefficient of a hundredth."""
    left, right, x, patient = mixed_series(np.random.default_rng(3), 120)
    fit = weibull_interval(left, right, x, patient)
    other = weibull_interval(left / 12, right / 12, x * [1, 100, 1] + [0, 1e4, 0], patient)
    moved = fit.parameters[1] * 1e4 / 100
    expected = fit.parameters / [1, 100, 1, 1] - np.array([np.log(12) + moved, 0, 0, 0])
    np.testing.assert_allclose(other.parameters, expected, rtol=1e-8)
    np.testing.assert_allclose(other.std_error[1:], fit.std_error[1:] / [100, 1, 1], rtol=1e-6)


def test_a_copy_of_every_implant_in_its_patient_doubles_the_naive_variance():
    left, right, x, patient = mixed_series(np.random.default_rng(5), 90)
    fit, twice = (weibull_interval(*(np.concatenate([part] * k) for part in (left, right, x, patient))) for k in (1, 2))
    np.testing.assert_allclose(twice.parameters, fit.parameters, rtol=1e-8)
    np.testing.assert_allclose(twice.std_error, fit.std_error, rtol=1e-7)
    np.testing.assert_allclose(twice.naive_std_error, fit.naive_std_error / np.sqrt(2), rtol=1e-7)


def test_early_failures_and_one_later_still_have_a_maximum():
    """Eight found by 6 months, one by 12, 91 standing at 60: the shape is small and the time to fail astronomic.

    The maximum is where both derivatives vanish, here found by a search over the shape alone.
    """
    from scipy.optimize import minimize_scalar

    left, right = np.repeat([0.0, 6, 60], [8, 1, 91]), np.repeat([6.0, 12, np.inf], [8, 1, 91])
    fit = weibull_interval(left, right, np.ones((100, 1)), np.arange(100))

    def worst(shape):
        def negative(log_rate):
            at_6, at_12, at_60 = (np.exp(log_rate) * t**shape for t in (6, 12, 60))
            return -(8 * np.log(-np.expm1(-at_6)) + np.log(np.exp(-at_6) - np.exp(-at_12)) - 91 * at_60)

        return minimize_scalar(negative, bounds=(-12, 2), method="bounded", options={"xatol": 1e-10}).fun

    searched = minimize_scalar(worst, bounds=(1e-4, 2), method="bounded", options={"xatol": 1e-9})
    assert fit.log_likelihood == pytest.approx(-searched.fun, rel=1e-9)
    assert np.exp(fit.parameters[-1]) == pytest.approx(searched.x, rel=1e-3)
    assert fit.parameters[0] > 36  # log months


def only_the_first_visit():
    return np.repeat([0.0, 60], [8, 92]), np.repeat([6.0, np.inf], [8, 92]), np.ones((100, 1))


def one_time_would_do():
    return np.repeat([24.0, 12], [1, 99]), np.repeat([36.0, np.inf], [1, 99]), np.ones((100, 1))


def failed_after_all_others_were_seen():
    return np.repeat([36.0, 60], [5, 40]), np.repeat([60.0, np.inf], [5, 40]), np.ones((45, 1))


def told_apart(shape):
    """No implant with a 1 fails."""

    def series():
        rng = np.random.default_rng(int(10 * shape))
        x = (rng.random(300) < 0.3).astype(float)
        left, right = between_visits(np.where(x == 1, 1e9, 60 * rng.weibull(shape, 300)))
        return left, right, np.column_stack([np.ones(300), x])

    return series


@pytest.mark.parametrize(
    ("series", "why"),
    [
        (only_the_first_visit, r"at first visits only.*see survival\.turnbull"),
        (one_time_would_do, "at one and the same time"),
        (failed_after_all_others_were_seen, "at one and the same time"),
        *(
            (told_apart(shape), r"tell failed and lasting implants apart.*see survival\.firth_cox")
            for shape in (0.5, 1, 3, 8)
        ),
    ],
)
def test_a_likelihood_without_a_maximum_is_refused(series, why):
    left, right, x = series()
    with pytest.raises(NotFitted, match=why):
        weibull_interval(left, right, x, np.arange(len(x)))


def test_a_shape_beyond_the_largest_is_told_as_failures_at_one_time(monkeypatch):
    left, right, x, patient = mixed_series(np.random.default_rng(7), 60)
    monkeypatch.setattr(weibull, "LARGEST_SHAPE", 0.5)
    with pytest.raises(NotFitted, match=r"at one and the same time.*see survival\.turnbull"):
        weibull_interval(left, right, x, patient)


def test_steps_that_do_not_settle_are_counted_in_words(monkeypatch):
    left, right, x, patient = mixed_series(np.random.default_rng(7), 60)
    monkeypatch.setattr(weibull, "MAX_ITERATIONS", 1)
    with pytest.raises(NotFitted, match="did not settle within 1 step"):
        weibull_interval(left, right, x, patient)


def test_no_failure_and_too_few_patients_are_refused():
    left, right, x, patient = mixed_series(np.random.default_rng(7), 60)
    with pytest.raises(NotFitted, match="no implant used has failed"):
        weibull_interval(np.full(60, 12.0), np.full(60, np.inf), x, patient)
    with pytest.raises(NotFitted, match=r"too few patients \(4 patients\) for 4 parameters"):
        weibull_interval(left, right, x, patient % 4)
