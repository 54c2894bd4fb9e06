"""The learning curve by a second implementation, and where the case numbers leave little to draw a curve from."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from audit_series import MIX, counted, operators
from scipy import stats
from scipy.optimize import brentq
from scipy.special import expit, logit

from liftseries.base.remarks import names_in, remark
from liftseries.models.audit.learning import fit_audit_learning


def natural_spline(x: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """x and a bend, straight beyond the outer knots: Hastie and others 2009, equations 5.4 and 5.5 (from memory)."""
    first, before, last = np.quantile(seen, [0.1, 0.5, 0.9])

    def part(knot):
        return (np.maximum(x - knot, 0) ** 3 - np.maximum(x - last, 0) ** 3) / (last - knot)

    return np.column_stack([x, part(first) - part(before)])


def by_firthmodels(cases: pd.DataFrame, own: np.ndarray, at: list[int]) -> tuple[list[float], list[float]]:
    """Mean risk at case numbers, as fitted and moved to the observed share; `own` are the operators' columns."""
    firthmodels = pytest.importorskip("firthmodels")
    log_case, torn = np.log(cases["operator_case_no"].to_numpy(float)), cases["perforation"].eq("yes").to_numpy(int)
    rest = np.column_stack([cases[MIX].to_numpy(float), own])
    fit = firthmodels.FirthLogisticRegression(gtol=1e-7, xtol=1e-7, max_iter=500)
    fit.fit(np.column_stack([natural_spline(log_case, log_case), rest]), torn)

    def log_odds(x):
        return np.ravel(fit.intercept_)[0] + np.column_stack([natural_spline(x, log_case), rest]) @ np.ravel(fit.coef_)

    shift = brentq(lambda c: expit(log_odds(log_case) + c).mean() - torn.mean(), -5, 5, xtol=1e-14)
    settings = [log_odds(np.full(len(cases), np.log(case))) for case in at]
    return [expit(one).mean() for one in settings], [expit(one + shift).mean() for one in settings]


def steeper(n_operators: int) -> pd.DataFrame:
    """Heights rise with the case number, so that a curve without the case mix would be another."""
    cases = operators(260, n_operators=n_operators)
    return cases.assign(rbh_mid_mm=cases["rbh_mid_mm"] + 0.1 * cases["operator_case_no"].astype(float))


@pytest.mark.parametrize("n_operators", [4, 10])
def test_the_curve_is_that_of_a_second_implementation(n_operators):
    """Below ten operators each has an intercept; from ten on the mean of his cases stands beside the case."""
    cases, at = steeper(n_operators), [1, 5, 10, 20]
    rows = fit_audit_learning(cases, MIX).rows.set_index(["method", "term"])
    own = pd.get_dummies(cases["operator"], drop_first=True).to_numpy(float)
    if n_operators == 10:
        log_case = np.log(cases["operator_case_no"].astype(float))
        own = log_case.groupby(cases["operator"]).transform("mean").to_numpy()
    fitted, moved = by_firthmodels(cases, own, at)
    for case, as_fitted, as_moved in zip(at, fitted, moved, strict=True):
        assert rows.loc[("firth_unmoved", f"{case}"), "estimate"] == pytest.approx(as_fitted, rel=1e-5)
        assert rows.loc[("firth", f"{case}"), "estimate"] == pytest.approx(as_moved, rel=1e-5)


@pytest.mark.parametrize("n_operators", [4, 10])
def test_limits_are_symmetric_on_the_logit(n_operators):
    """By t of the operators less two where they are the clusters; of 260 patients and more t is the normal."""
    rows = fit_audit_learning(steeper(n_operators), MIX).rows
    p, times = rows["estimate"], stats.norm.ppf(0.975) if n_operators < 10 else stats.t.ppf(0.975, 8)
    half = times * rows["std_error"] / (p * (1 - p))
    np.testing.assert_allclose(logit(rows["conf_high"]) - logit(p), half, rtol=1e-8)
    np.testing.assert_allclose(logit(p) - logit(rows["conf_low"]), half, rtol=1e-8)


def test_each_row_says_how_it_was_made():
    notes = fit_audit_learning(steeper(4), MIX).rows.set_index(["method", "term"])["note"].map(names_in)
    both = {"operators_own_intercepts", "clusters_are_patients"}
    assert notes[("firth", "5")] == both | {"shifted_to_share"}
    assert notes[("firth_unmoved", "5")] == both


def test_a_case_number_before_the_first_one_seen_is_told_as_such():
    cases = steeper(4)
    later = cases.assign(operator_case_no=cases["operator_case_no"] + 3)
    notes = fit_audit_learning(later, MIX).rows.set_index(["method", "term"])["note"].map(names_in)
    assert "before_first_case" in notes[("firth", "1")]
    assert "before_first_case" not in notes[("firth", "5")]


def test_nearly_all_sites_at_one_case_number_give_a_line():
    """More than nine in ten are first cases, so that all three knots are one: no bend is to be had."""
    cases = counted({unit: (12, 60) for unit in "ABC"})
    number = np.where(np.arange(180) % 20 == 7, 3, 1)
    rows = fit_audit_learning(cases.assign(operator_case_no=pd.array(number, "Int64")), MIX).rows
    told = rows[rows["method"].eq("firth")]
    assert told["term"].tolist() == ["1"]
    assert told["estimate"].iloc[0] == pytest.approx(36 / 180, abs=0.01)
    assert told["headline"].all()


def test_sites_without_a_case_number_stay_out_and_are_counted_as_such():
    cases = steeper(4)
    cases.loc[cases.index[:3], "operator_case_no"] = pd.NA
    found = fit_audit_learning(cases, MIX)
    assert found.left_out[["reason", "n_sites"]].to_numpy().tolist() == [["case number not recorded", 3]]
    torn = int(cases["perforation"].eq("yes")[3:].sum())
    counts = found.rows[["n_sites", "n_patients", "n_events"]].drop_duplicates().to_numpy().tolist()
    assert counts == [[len(cases) - 3, cases["patient_id"][3:].nunique(), torn]]


def test_the_tears_of_complete_cases_must_carry_a_curve():
    """24 tears, of which five have no height: 19 are left, one too few."""
    cases = counted({unit: (8, 40) for unit in "ABC"})
    cases.loc[cases.index[:5], "rbh_mid_mm"] = np.nan
    rows = fit_audit_learning(cases, MIX).rows
    assert set(rows["problem"]) == {remark("below_gate_curve", n_events=19)}
    assert rows.groupby("method").size().to_dict() == {"firth": 3, "firth_unmoved": 3}


def test_a_curve_needs_three_operators_and_a_site_without_a_tear():
    two = fit_audit_learning(counted({"A": (12, 60), "B": (12, 60)}), []).rows
    assert set().union(*two["problem"].map(names_in)) == {"too_few_operators_reach"}
    cases = counted({"A": (30, 40), "B": (1, 10)})
    cases.loc[cases["perforation"].eq("no"), "rbh_mid_mm"] = np.nan
    torn = fit_audit_learning(cases, MIX).rows
    assert set().union(*torn["problem"].map(names_in)) == {"all_perforated"}
