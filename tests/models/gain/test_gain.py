"""The mean gain at 12 months, its change a year, and whose error stands beside them."""

import numpy as np
import pandas as pd
import pytest
from invented import invented_cases, invented_visits
from scipy.stats import t

from liftseries.models.gain.mixed import fit_gain_mixed

TERMS = ["protrusion_mm", "graft", "months"]


def rows_of(estimates):
    """The mixed model's rows by method."""
    of_model = estimates.rows[estimates.rows["method"].ne("patients")]
    return {method: rows.set_index("term") for method, rows in of_model.groupby("method")}


def test_balanced_patients_have_the_slope_of_the_arithmetic():
    """Each of 6 patients a site, seen at 0 and 24 months: the change a year is half of theirs.

    A patient's influence on it is (own change - mean change) / 6.
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
    assert corrected.loc["change per year", "estimate"] == pytest.approx(change.mean() / 2)
    assert corrected.loc["change per year", "std_error"] == pytest.approx((change / 2).std(ddof=1) / np.sqrt(6))
    assert corrected["df"].eq(4).all()
    half = t.ppf(0.975, 4) * corrected.loc["change per year", "std_error"]
    assert corrected.loc["change per year", "conf_high"] == pytest.approx(change.mean() / 2 + half)


def test_change_is_twelve_times_the_months(many_cases, many_visits):
    for rows in rows_of(fit_gain_mixed(many_visits, many_cases, TERMS)).values():
        numbers = ["estimate", "std_error", "conf_low", "conf_high"]
        np.testing.assert_allclose(
            rows.loc["change per year", numbers].astype(float), 12 * rows.loc["months", numbers].astype(float)
        )
        assert rows.loc["change per year", "p_value"] == pytest.approx(rows.loc["months", "p_value"])


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


def test_the_mean_at_12_is_that_of_the_sites_by_their_nearest_visits():
    """Patients with many sites gain less: 2 mm at four sites of one, 4 mm at a site each of four others."""
    patient = ["a"] * 4 + list("bcde")
    sites = [f"s{i}" for i in range(8)]
    cases = pd.DataFrame({"site_id": sites, "patient_id": patient, "rbh_mid_mm": 4.0})
    gain = np.array([2.0] * 4 + [4.0] * 4)
    far = pd.DataFrame({"site_id": sites, "months": 36.0, "bone_height_mm": 9.0})
    visits = pd.DataFrame({"site_id": sites, "months": [9.0, 12, 15, 12, 12, 12, 12, 12], "bone_height_mm": 4 + gain})
    rows = fit_gain_mixed(pd.concat([visits, far]), cases, ["months"]).rows
    (row,) = rows[rows["term"].eq("mean at 12")].to_dict("records")
    assert (row["method"], row["headline"], row["n_sites"], row["n_patients"]) == ("patients", True, 8, 5)
    assert row["estimate"] == 3.0
    # Sums about the mean: -4 of a, 1 of each of the others; K / (K - 1) = 5/4
    assert row["std_error"] == pytest.approx(np.sqrt(5 / 4 * (16 + 4)) / 8)


@pytest.mark.parametrize("months", [8.9, 15.1])
def test_without_a_visit_around_month_12_there_is_no_mean(many_cases, months):
    visits = pd.DataFrame({"site_id": many_cases["site_id"], "months": months, "bone_height_mm": 8.0})
    rows = fit_gain_mixed(visits, many_cases, ["months"]).rows.set_index("term")
    assert rows.loc["mean at 12", "problem"] == "no site was measured within 3 months of month 12"
    assert not rows.loc["mean at 12", "headline"]


def test_visits_at_one_time_leave_no_change(many_cases, many_visits):
    rows = fit_gain_mixed(many_visits[many_visits["months"] == 12], many_cases, ["months"]).rows.set_index("term")
    for term in ("months", "change per year"):
        assert rows.loc[term, "problem"].str.contains("months does not vary").all()


def test_as_many_patients_as_coefficients_are_too_few(many_cases, many_visits):
    few = many_cases[many_cases["patient_id"].isin(many_cases["patient_id"].unique()[:4])]
    rows = fit_gain_mixed(many_visits, few, TERMS).rows
    rows = rows[rows["method"].ne("patients")]
    assert rows["estimate"].isna().all()
    assert rows["problem"].eq("too few patients (4 patients) for 4 coefficients").all()
    assert sorted(rows["term"].unique()) == sorted(
        ["(intercept)", "protrusion_mm", "graft[xenograft]", "months", "change per year"]
    )
