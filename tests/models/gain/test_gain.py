"""The mean gain at 12 months, its change a year, and whose error stands beside them."""

import numpy as np
import pandas as pd
import pytest
from invented import invented_cases, invented_visits
from scipy.stats import t

from liftseries.models.gain.mixed import fit_gain_mixed

TERMS = ["protrusion_mm", "graft", "months"]


def rows_of(estimates):
    return {method: rows.set_index("term") for method, rows in estimates.rows.groupby("method")}


def test_balanced_patients_have_the_mean_and_slope_of_the_arithmetic():
    """Each of 6 patients a site, seen at 0 and 24 months: the fit at 12 is the mean of all, the change half of theirs.

    A patient's influence on the mean is (own mean - mean) / 6, on the change a year (own change - mean change) / 6.
    """
    start, change = np.array([3.0, 4, 5, 3.5, 4.2, 2.8]), np.array([-0.8, 0.4, -2.0, 1.0, 0.3, -1.5])
    sites = [f"s{i}" for i in range(6)]
    cases = pd.DataFrame({"site_id": sites, "patient_id": sites, "rbh_mid_mm": 4.0})
    visits = pd.DataFrame(
        {
            "site_id": sites * 2,
            "months": [0.0] * 6 + [24.0] * 6,
            "bone_height_mm": np.r_[4 + start, 4 + start + change],
        }
    )
    corrected = rows_of(fit_gain_mixed(visits, cases, ["months"]))["corrected"]
    own = start + change / 2
    assert corrected.loc["mean at 12", "estimate"] == pytest.approx(own.mean())
    assert corrected.loc["mean at 12", "std_error"] == pytest.approx(own.std(ddof=1) / np.sqrt(6))
    assert corrected.loc["change per year", "estimate"] == pytest.approx(change.mean() / 2)
    assert corrected.loc["change per year", "std_error"] == pytest.approx((change / 2).std(ddof=1) / np.sqrt(6))
    assert corrected["df"].eq(4).all()
    half = t.ppf(0.975, 4) * corrected.loc["mean at 12", "std_error"]
    assert corrected.loc["mean at 12", "conf_high"] == pytest.approx(own.mean() + half)


def test_change_is_twelve_times_the_months(many_cases, many_visits):
    for rows in rows_of(fit_gain_mixed(many_visits, many_cases, TERMS)).values():
        numbers = ["estimate", "std_error", "conf_low", "conf_high"]
        np.testing.assert_allclose(
            rows.loc["change per year", numbers].astype(float), 12 * rows.loc["months", numbers].astype(float)
        )
        assert rows.loc["change per year", "p_value"] == pytest.approx(rows.loc["months", "p_value"])
        assert np.isnan(rows.loc["mean at 12", "p_value"])


def test_corrected_is_never_below_the_models_own_and_alone_the_headline(many_cases, many_visits):
    rows = rows_of(fit_gain_mixed(many_visits, many_cases, TERMS))
    larger = rows["corrected"]["std_error"] / rows["reml"]["std_error"]
    assert (larger >= 1 - 1e-12).all()
    assert larger.eq(1).any()
    assert larger.gt(1).any()
    assert rows["corrected"]["headline"].all()
    assert not rows["reml"]["headline"].any()
    pd.testing.assert_series_equal(rows["corrected"]["estimate"], rows["reml"]["estimate"])


def test_patients_who_differ_in_their_slopes_widen_the_change():
    """The model's own error knows one slope; where patients' slopes scatter by 0.03 mm a month it is much too small."""
    cases = invented_cases(80, seed=3)
    visits = invented_visits(cases, seed=4)
    slope = dict(zip(cases["patient_id"].unique(), np.random.default_rng(5).normal(0, 0.03, 80), strict=True))
    own = visits["site_id"].map(cases.set_index("site_id")["patient_id"].map(slope)).to_numpy(float)
    visits["bone_height_mm"] += own * visits["months"]
    rows = rows_of(fit_gain_mixed(visits, cases, TERMS))
    assert rows["corrected"].loc["months", "std_error"] > 2 * rows["reml"].loc["months", "std_error"]


def test_the_mean_counts_that_other_patients_have_other_sites():
    """Gain follows the lift of each patient alone, so that the mean is as sure as the patients' mean gain."""
    rng = np.random.default_rng(8)
    n = 400
    lift = rng.uniform(1, 6, n)
    sites = [f"s{i}" for i in range(n)]
    cases = pd.DataFrame({"site_id": sites, "patient_id": sites, "rbh_mid_mm": 4.0, "protrusion_mm": lift})
    gain = lift + rng.normal(0, 0.1, (3, n))
    visits = pd.DataFrame(
        {"site_id": sites * 3, "months": np.repeat([6.0, 12.0, 18.0], n), "bone_height_mm": 4 + gain.ravel()}
    )
    rows = rows_of(fit_gain_mixed(visits, cases, ["protrusion_mm", "months"]))
    of_patients = gain.mean(axis=0).std(ddof=1) / np.sqrt(n)
    assert rows["corrected"].loc["mean at 12", "std_error"] == pytest.approx(of_patients, rel=0.01)
    assert rows["reml"].loc["mean at 12", "std_error"] < 0.1 * of_patients


@pytest.mark.parametrize(("months", "problem"), [([0.0, 6.0], "do not reach month 12"), ([18.0, 36.0], "do not reach")])
def test_a_mean_beyond_the_visits_is_not_told(many_cases, months, problem):
    rng = np.random.default_rng(1)
    visits = pd.DataFrame({"site_id": np.repeat(many_cases["site_id"], 2), "months": months * len(many_cases)})
    visits["bone_height_mm"] = rng.normal(8, 1, len(visits))
    rows = fit_gain_mixed(visits, many_cases, ["months"]).rows.set_index("term")
    assert rows.loc["mean at 12", "estimate"].isna().all()
    assert rows.loc["mean at 12", "problem"].str.contains(problem).all()
    assert rows.loc["change per year", "estimate"].notna().all()
    assert not rows.loc["mean at 12", "headline"].any()


def test_visits_at_one_time_leave_no_change(many_cases, many_visits):
    rows = fit_gain_mixed(many_visits[many_visits["months"] == 12], many_cases, ["months"]).rows.set_index("term")
    for term in ("months", "change per year", "mean at 12"):
        assert rows.loc[term, "problem"].str.contains("months does not vary").all()


def test_as_many_patients_as_coefficients_are_too_few(many_cases, many_visits):
    few = many_cases[many_cases["patient_id"].isin(many_cases["patient_id"].unique()[:4])]
    rows = fit_gain_mixed(many_visits, few, TERMS).rows
    assert rows["estimate"].isna().all()
    assert rows["problem"].eq("too few patients (4 patients) for 4 coefficients").all()
    assert sorted(rows["term"].unique()) == sorted(
        ["(intercept)", "protrusion_mm", "graft[xenograft]", "months", "mean at 12", "change per year"]
    )
