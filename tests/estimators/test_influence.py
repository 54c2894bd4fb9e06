"""Influence of each row: against the derivative of a second, weighted implementation, by differences."""

import numpy as np
import pytest
from scipy.special import expit

from liftseries.estimators.balancing import (
    INVERSE_PROBABILITY,
    OVERLAP,
    balancing_weights,
    effective_number,
    standardised_difference,
    weighted_mean,
)
from liftseries.estimators.g_computation import StandardisedCurves, standardised_risks
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.kaplan_meier import kaplan_meier
from liftseries.estimators.multinomial import multinomial_logistic
from liftseries.estimators.rmst import restricted_mean
from liftseries.estimators.weighted_curve import weighted_curve

STEP = 1e-4
N = 60


def derivative(estimate, n: int, rows) -> np.ndarray:
    """Central differences of a weighted estimate in the weight of some rows, one at a time."""
    found = []
    for row in rows:
        ahead, behind = np.ones(n), np.ones(n)
        ahead[row] += STEP
        behind[row] -= STEP
        found.append((estimate(ahead) - estimate(behind)) / (2 * STEP))
    return np.array(found)


@pytest.fixture(scope="module")
def sites():
    rng = np.random.default_rng(4)
    x = np.column_stack([np.ones(N), rng.normal(5, 1.2, N), rng.random(N) < 0.4])
    group = rng.integers(0, 3, N)
    event = rng.random(N) < expit(-0.5 + 0.3 * (x[:, 1] - 5) + 0.5 * (group == 1))
    months = np.ceil(rng.exponential(30, N) / 6) * 6
    failed = rng.random(N) < 0.5
    return x, group, event, months, failed


def propensity(x, group, weight):
    """A second implementation: Newton's steps on the weighted likelihood, on plain columns, from numeric Hessians."""
    k, p = group.max(), x.shape[1]
    beta = np.zeros(k * p)

    def shares(b):
        odds = np.exp(np.column_stack([np.zeros(len(x)), x @ b.reshape(k, p).T]))
        return odds / odds.sum(1, keepdims=True)

    def score(b):
        return (((np.eye(k + 1)[group] - shares(b))[:, 1:] * weight[:, None]).T @ x).ravel()

    for _ in range(50):
        columns = [(score(beta + 1e-5 * e) - score(beta - 1e-5 * e)) / 2e-5 for e in np.eye(k * p)]
        step = np.linalg.solve(np.array(columns).T, score(beta))
        beta = beta - step
        if np.abs(step).max() < 1e-13:
            break
    return shares(beta)


def weights_of(kind, x, group, weight):
    e = propensity(x, group, weight)
    own = e[np.arange(len(e)), group]
    return 1 / own if kind == INVERSE_PROBABILITY else (1 / own) / (1 / e).sum(1)


@pytest.mark.parametrize("kind", [OVERLAP, INVERSE_PROBABILITY])
def test_weighted_means_follow_the_propensity(sites, kind):
    x, group, event, *_ = sites
    weights = balancing_weights(kind, multinomial_logistic(x, group, 3), group)
    np.testing.assert_allclose(weights.value, weights_of(kind, x, group, np.ones(N)), rtol=1e-8)
    for g in range(3):
        member = group == g

        def estimate(s, member=member):
            w = s * weights_of(kind, x, group, s)
            return (w * event)[member].sum() / w[member].sum()

        explicit = np.zeros(N)
        value, explicit[member] = weighted_mean(event[member].astype(float), weights.value[member])
        assert value == pytest.approx(estimate(np.ones(N)), rel=1e-9)
        rows = range(0, N, 4)
        np.testing.assert_allclose(weights.through(explicit)[rows], derivative(estimate, N, rows), atol=1e-6)


def test_overlap_weights_of_two_groups_balance_the_means_exactly(sites):
    """Li, Morgan and Zaslavsky 2018, doi:10.1080/01621459.2016.1260466, theorem 3: with a logistic propensity."""
    x, group, *_ = sites
    two = (group > 0).astype(int)
    fit = multinomial_logistic(x, two, 2)
    weight = balancing_weights(OVERLAP, fit, two).value
    np.testing.assert_allclose(weight, np.where(two == 1, 1 - fit.probability[:, 1], fit.probability[:, 1]))
    for column in x.T[1:]:
        assert standardised_difference(column, two == 1, two == 0, weight, False) == pytest.approx(0, abs=1e-9)


def test_groups_that_a_column_tells_apart_have_no_propensity(sites):
    x, group, *_ = sites
    with pytest.raises(NotFitted, match="apart"):
        multinomial_logistic(np.column_stack([x[:, 0], group == 2]), (group == 2).astype(int), 2)


def test_standardised_risks_refit_the_model(sites):
    x, group, event, *_ = sites
    dummies = np.eye(3)[group][:, 1:]
    columns = np.column_stack([x, dummies])
    set_to = [np.column_stack([x, np.tile(np.eye(3)[g][1:], (N, 1))]) for g in range(3)]
    risks, influence = standardised_risks(columns, event, set_to)
    y = event.astype(int)
    for g in range(3):

        def estimate(s, g=g):
            logits = np.log(1 / propensity_of(columns, y, s) - 1)
            beta = np.linalg.lstsq(columns, -logits, rcond=None)[0]
            return np.average(expit(set_to[g] @ beta), weights=s)

        rows = range(0, N, 4)
        assert risks[g] == pytest.approx(estimate(np.ones(N)), rel=1e-8)
        np.testing.assert_allclose(influence[rows, g], derivative(estimate, N, rows), atol=1e-6)


def propensity_of(columns, y, weight):
    return propensity(columns, y, weight)[:, 1]


@pytest.mark.parametrize("area", [False, True])
@pytest.mark.parametrize("month", [3.0, 24.0, 40.0])
def test_weighted_curves_and_areas(sites, month, area):
    x, group, _, months, failed = sites
    weights = balancing_weights(OVERLAP, multinomial_logistic(x, group, 3), group)
    member = group == 1

    def estimate(s):
        w = (s * weights_of(OVERLAP, x, group, s))[member]
        return curve(months[member], failed[member], w, month, area)

    explicit = np.zeros(N)
    value, explicit[member] = weighted_curve(months[member], failed[member], weights.value[member]).at(month, area)
    rows = range(0, N, 3)
    assert value == pytest.approx(estimate(np.ones(N)), rel=1e-9)
    np.testing.assert_allclose(weights.through(explicit)[rows], derivative(estimate, N, rows), atol=1e-5)


def curve(months, failed, w, month, area):
    """Weighted Kaplan-Meier in a loop, read at a month or summed."""
    s, before, total = 1.0, 0.0, 0.0
    for t in [u for u in np.unique(months[failed]) if u <= month]:
        total += s * (t - before)
        before = t
        s *= 1 - w[failed & (months == t)].sum() / w[months >= t].sum()
    return total + s * (month - before) if area else s


def test_weights_of_one_give_kaplan_meier_and_its_area(sites):
    *_, months, failed = sites
    plain = kaplan_meier(months, failed, np.arange(N))
    found = weighted_curve(months, failed, np.ones(N))
    np.testing.assert_allclose(found.survival, plain.survival)
    survival, explicit = found.at(30.0, area=False)
    assert (survival, np.sqrt(explicit @ explicit)) == pytest.approx([float(one[0]) for one in plain.at([30.0])])
    mean = restricted_mean(months, failed, 30.0)
    area, explicit = found.at(30.0, area=True)
    assert area == pytest.approx(mean.months)
    np.testing.assert_allclose(explicit, mean.influence, atol=1e-12)


def test_a_curve_that_came_down_to_zero_stays_there_and_one_that_ended_is_refused():
    fell = weighted_curve(np.array([6.0, 9.0]), np.array([True, True]), np.array([0.3, 0.7]))
    assert fell.at(12.0, area=False) == (0.0, pytest.approx([0.0, 0.0]))
    assert fell.at(12.0, area=True)[0] == pytest.approx(6 + 3 * 0.7)
    with pytest.raises(NotFitted, match="ends at 9 months"):
        weighted_curve(np.array([6.0, 9.0]), np.array([True, False]), np.ones(2)).at(12.0, area=False)


@pytest.mark.parametrize("area", [False, True])
def test_cox_standardised_curves_refit_the_model(sites, area):
    x, group, _, months, failed = sites
    columns = np.column_stack([group == 1, group == 2, x[:, 1:]]).astype(float)
    fit = StandardisedCurves.fitted(months, failed, columns, np.arange(N))
    set_to = columns.copy()
    set_to[:, :2] = [1.0, 0.0]

    def estimate(s):
        beta = efron(months, failed, columns, s)
        r = s * np.exp(columns @ beta)
        times = [t for t in np.unique(months[failed]) if t <= 30]
        jumps = [s[failed & (months == t)].sum() / r[months >= t].sum() for t in times]
        means = [np.average(np.exp(-total * np.exp(set_to @ beta)), weights=s) for total in np.cumsum(jumps)]
        return np.diff([0, *times, 30]) @ [1, *means] if area else means[-1]

    value, influence = fit.mean(set_to, 30.0, area)
    rows = range(0, N, 5)
    assert value == pytest.approx(estimate(np.ones(N)), rel=1e-7)
    np.testing.assert_allclose(influence[rows], derivative(estimate, N, rows), atol=2e-5 if area else 1e-6)


def efron(months, failed, x, s):
    """Efron's partial likelihood with weights as R's coxph has them, in loops; Newton with numeric derivatives."""

    def score(beta):
        r, total = s * np.exp(x @ beta), 0.0
        for t in np.unique(months[failed]):
            tied, risk = failed & (months == t), months >= t
            d, mean_weight = tied.sum(), s[tied].mean()
            total = total + s[tied] @ x[tied]
            for gone in np.arange(d) / d:
                share = r * risk - gone * r * tied
                total = total - mean_weight * share @ x / share.sum()
        return total

    beta = np.zeros(x.shape[1])
    for _ in range(30):
        slopes = [(score(beta + 1e-5 * e) - score(beta - 1e-5 * e)) / 2e-5 for e in np.eye(len(beta))]
        step = np.linalg.solve(np.array(slopes).T, score(beta))
        beta = beta - step
        if np.abs(step).max() < 1e-12:
            break
    return beta


def test_effective_numbers_by_hand():
    assert effective_number(np.array([1.0, 1.0, 2.0])) == pytest.approx(16 / 6)
    assert effective_number(np.zeros(0)) == 0


def test_standardised_differences_by_hand():
    """(3 - 2) / √((1 + 1) / 2); shares 3/4 and 1/4: 0.5 / √0.1875; nothing varies: 0, or no number."""
    x = np.array([2.0, 3, 4, 1, 2, 3])
    first = np.arange(6) < 3
    assert standardised_difference(x, first, ~first, np.ones(6), False) == pytest.approx(1)
    level = np.array([1.0, 1, 1, 0, 1, 0, 0, 0])
    first = np.arange(8) < 4
    assert standardised_difference(level, first, ~first, np.ones(8), True) == pytest.approx(0.5 / np.sqrt(0.1875))
    assert standardised_difference(np.ones(8), first, ~first, np.ones(8), True) == 0
    assert np.isnan(standardised_difference(first.astype(float), first, ~first, np.ones(8), True))
