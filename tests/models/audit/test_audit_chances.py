"""What simulation says of units: a chart's chances against a loop over courses, and how exact each number is."""

from __future__ import annotations

import numpy as np
import pytest
from audit_series import CHANCE, CUSUM, PLAN, counted
from invented import category
from scipy import stats

from liftseries.base.remarks import remarks_in
from liftseries.models.audit.between import design_effect, fit_audit_between
from liftseries.models.audit.over_time import fit_audit_cusum

N_DRAWS = 5000  # fewest that are drawn
RISK, N_CASES, TO_LIMIT = 0.1, 80, 100
UNITS = {"A": (8, N_CASES), "B": (10, 100), "C": (6, 60)}  # 24 of 240, a site each patient: p0 is RISK


def chart(**asked) -> dict:
    """The rows of A, by method and term; without a case mix every site is expected to tear at RISK."""
    rows = fit_audit_cusum(counted(UNITS), **{**PLAN, **CUSUM, **CHANCE, "case_mix": [], **asked}).rows
    return rows[rows["subset"].eq("operator=A")].set_index(["method", "term"]).to_dict("index")


def error_of(row: dict) -> float:
    """The Monte Carlo error in a row's note, which tells of two digits."""
    said = {one.name: one.holes for one in remarks_in(row["note"])}["simulated"]
    assert said["n_draws"] == N_DRAWS
    return float(said["error"])


def courses(risk: float, ratio: float, n_cases: int, limit: float = np.inf) -> tuple[np.ndarray, np.ndarray]:
    """Of many operators whose sites tear at a risk: how often S reaches the limit, then starting anew, and when first.

    Written anew from the log likelihood ratios of Steiner and others 2000, doi:10.1093/biostatistics/1.4.441 (from
    memory).
    """
    torn = np.random.default_rng(8).random((N_DRAWS, n_cases)) < risk
    score = np.where(torn, np.log(ratio / (1 - RISK + ratio * RISK)), np.log(1 / (1 - RISK + ratio * RISK)))
    s, signals, first = np.zeros(N_DRAWS), np.zeros(N_DRAWS, int), np.full(N_DRAWS, n_cases)
    for case in range(n_cases):
        s = np.maximum(0, s + score[:, case])
        reached = s >= limit - 1e-9
        first[reached & (signals == 0)] = case + 1
        signals += reached
        s[reached] = 0
    return signals, first


@pytest.mark.parametrize(("method", "ratio"), [("up", 2.0), ("down", 0.5)])
def test_the_chances_of_a_chart_are_those_of_a_loop_over_courses(method, ratio):
    """Numbers of two simulations of 5000 lie within five of their errors, each time."""
    rows = chart()
    limit = rows[method, "limit"]["estimate"]
    within = (courses(RISK, ratio, TO_LIMIT, limit)[0] > 0).mean()
    error_of(rows[method, "limit"])  # it is simulated, not kept
    assert within <= 0.05 + 5 * np.sqrt(0.05 * 0.95 / N_DRAWS)  # false alarms in `cusum_cases` cases
    signals, _ = courses(RISK, ratio, N_CASES, limit)
    false = rows[method, "achieved_false_alarm"]
    error = np.sqrt(false["estimate"] * (1 - false["estimate"]) / N_DRAWS)
    assert false["estimate"] == pytest.approx((signals > 0).mean(), abs=5 * 1.5 * error)
    assert error_of(false) == pytest.approx(error, rel=0.05)
    expected = rows[method, "expected_signals"]
    error = signals.std() / np.sqrt(N_DRAWS)
    assert expected["estimate"] == pytest.approx(signals.mean(), abs=5 * 1.5 * error)
    assert error_of(expected) == pytest.approx(error, rel=0.15)
    changed = ratio * RISK / (1 - RISK + ratio * RISK)
    _, first = courses(changed, ratio, 20 * TO_LIMIT, limit)
    length = rows[method, "run_length"]
    ordered = np.sort(first)
    error = (ordered[N_DRAWS // 2 + 35] - ordered[N_DRAWS // 2 - 35]) / 2  # ranks √n / 2 either side of the median
    assert length["estimate"] == pytest.approx(np.median(first), abs=max(5 * 1.5 * error, 1))
    assert error_of(length) == pytest.approx(error, abs=1.5)
    assert "run_length_capped" not in {one.name for one in remarks_in(length["note"])}


def test_a_limit_that_is_hardly_ever_reached_is_followed_for_twenty_times_the_cases():
    rows = chart(limits={"A": {"up": 500.0, "down": 0.5}})
    capped = {one.name: one.holes for one in remarks_in(rows["up", "run_length"]["note"])}
    assert rows["up", "run_length"]["estimate"] == 20 * TO_LIMIT == capped["run_length_capped"]["n_cases"]
    assert rows["up", "achieved_false_alarm"]["estimate"] == 0 == rows["up", "expected_signals"]["estimate"]
    assert rows["down", "achieved_false_alarm"]["estimate"] > 0.5
    assert rows["up", "limit"]["estimate"] == 500
    assert [one.name for one in remarks_in(rows["up", "limit"]["note"])] == ["kept_limit"]


def test_a_p_value_of_scatter_says_how_exact_it_is():
    """Five times 5000 draws give an error of a root of five less."""
    cases = counted({"A": (12, 80), "B": (22, 80), "C": (11, 80), "D": (15, 80)})
    for resamples, n_draws in ((1, 5000), (25_000, 25_000)):
        rows = fit_audit_between(cases, period=[], **PLAN, **CHANCE | {"resamples": resamples}).rows
        row = rows[rows["term"].eq("statistic")].iloc[0]
        said = remarks_in(row["note"])[0].holes
        p = row["p_value"]
        assert said["n_draws"] == n_draws
        assert float(said["error"]) == pytest.approx(np.sqrt(p * (1 - p) / n_draws), rel=0.05)
        binomial = sum((np.random.default_rng(k).binomial(80, 60 / 320, 20_000) - 15.0) ** 2 for k in range(4))
        p_by_hand = (binomial / (80 * 3 / 16 * 13 / 16) >= row["estimate"] - 1e-9).mean()
        assert p == pytest.approx(p_by_hand, abs=5 * np.sqrt(p * (1 - p) * (1 / n_draws + 1 / 20_000)))
        assert stats.chi2.sf(row["estimate"], 4) == pytest.approx(p, abs=0.03)


def test_a_design_effect_by_hand():
    """Patients of one, two and three sites: Σ m² / n is 14 / 6."""
    assert design_effect(np.array([1, 2, 3]), 0.3) == pytest.approx(1 + 0.3 * (14 / 6 - 1))
    assert design_effect(np.ones(5), 0.3) == 1


def test_scatter_is_expected_to_grow_with_sites_of_one_patient():
    """Pairs: a unit's variance is 1 + ρ times that of sites of their own, ρ being that of all units."""
    cases = counted({"A": (0, 80), "B": (0, 80), "C": (0, 80)})
    torn = np.tile([[1, 1], [0, 0], [1, 0], [0, 0]], (30, 1))
    cases["patient_id"] = np.repeat(cases["patient_id"].to_numpy()[::2], 2)
    cases["perforation"] = category("perforation", np.where(torn.ravel(), "yes", "no"))
    rho = stats.pearsonr(np.r_[torn[:, 0], torn[:, 1]], np.r_[torn[:, 1], torn[:, 0]]).statistic  # Fisher's, of pairs
    assert 0.3 < rho < 0.6
    rows = fit_audit_between(cases, period=[], **PLAN, **CHANCE).rows
    assert rows.loc[rows["term"].eq("expected"), "estimate"].iloc[0] == pytest.approx(3 * (1 + rho), rel=0.01)
