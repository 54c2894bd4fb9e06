"""Limits of agreement, error along the depth, intraclass correlations and Rubin's rules against R (agreement.R)."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit, stdtrit

from liftseries.estimators.rubin import pooled
from liftseries.estimators.variance_components import icc_jackknife, one_way, total_variance_limits
from liftseries.models.depth.agreement import fit_depth_agreement
from liftseries.models.depth.proportional_bias import fit_depth_proportional_bias
from liftseries.models.gain.mixed import fit_gain_mixed
from liftseries.models.sensitivity.icc import OF_PATIENT, OF_SITE, fit_measurement_icc

CLOSED_FORM = 1e-10
# l/min, first readings of two meters in 17 people: Bland and Altman 1986, Lancet i:307, table 1 (from memory).
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
# Six targets, four judges: Shrout and Fleiss 1979, Psychological Bulletin 86:420, table 2 (from memory).
RATINGS = [9, 2, 5, 8, 6, 1, 3, 2, 8, 4, 6, 8, 7, 1, 2, 6, 10, 5, 6, 9, 6, 2, 4, 7]


def test_limits_of_agreement_of_two_flow_meters(r_rows):
    cases = pd.DataFrame({"patient_id": range(17), "achieved_last_mm": WRIGHT, "planned_last_mm": MINI}).astype(
        {"achieved_last_mm": float, "planned_last_mm": float}
    )
    rows = fit_depth_agreement(cases).rows.query("method == 'reml'").set_index("term")
    r = r_rows("agreement", "pefr")
    for term in ("bias", "low", "high"):
        assert rows.loc[term, "estimate"] == pytest.approx(r.loc[term, "value"], rel=1e-8)
    assert rows.loc["bias", "std_error"] == pytest.approx(r.loc["bias", "se"], rel=1e-8)
    # R's limit has 1 / n and 1.96² / (2 (n - 1)); ours, by the delta method, the same.
    assert rows.loc["low", "std_error"] == pytest.approx(r.loc["low", "se"], rel=1e-6)


@pytest.mark.parametrize("key", ["shrout_fleiss", "series", "perforation"])
def test_intraclass_correlation(series, r_rows, key):
    error_mm = series["achieved_mm"] - series["planned_mm"]
    y, group = {
        "shrout_fleiss": (np.array(RATINGS, float), np.repeat(range(6), 4)),
        "series": (error_mm.to_numpy(float), series["patient_id"]),
        "perforation": (series["perforation"].to_numpy(float), series["patient_id"]),
    }[key]
    parts, r = one_way(y, group), r_rows("agreement", key)
    assert parts.icc == pytest.approx(r.loc["icc", "value"], rel=CLOSED_FORM)
    assert parts.f_interval() == pytest.approx(r.loc["icc", ["lower", "upper"]].tolist(), rel=1e-8)
    assert [parts.between, parts.within, parts.size] == pytest.approx(
        r.loc[["between", "within", "n0"], "value"].tolist(), rel=CLOSED_FORM
    )


def test_jackknife_of_a_binary_correlation(series, r_rows):
    se = icc_jackknife(series["perforation"].to_numpy(float), series["patient_id"])
    assert se == pytest.approx(r_rows("agreement", "perforation").loc["jackknife z", "se"], rel=1e-8)


@pytest.mark.parametrize(("key", "df_complete"), [("rubin", 297), ("rubin_infinite", np.inf)])
def test_rubins_rules(r_rows, key, df_complete):
    found = pooled([1.10, 0.85, 1.32, 0.97, 1.21], [0.09, 0.11, 0.08, 0.10, 0.095], df_complete)
    r = r_rows("agreement", key)["value"]
    ours = [found.estimate, found.std_error**2, found.df, found.missing_information]
    np.testing.assert_allclose(ours, r[["estimate", "variance", "df", "fmi"]], rtol=CLOSED_FORM)


def test_intervals_of_the_limits_lie_by_the_exact_ones(r_rows):
    """Carkeet 2015: the noncentral t, of 17 people. The symmetric interval lies four times as far from it."""
    cases = pd.DataFrame({"patient_id": range(17), "achieved_last_mm": WRIGHT, "planned_last_mm": MINI}).astype(float)
    rows = fit_depth_agreement(cases).rows.query("method == 'reml'").set_index("term")
    exact = r_rows("agreement", "pefr_exact")
    for term in ("low", "high"):
        ends = rows.loc[term, ["conf_low", "conf_high"]].to_numpy(float)
        symmetric = rows.loc[term, "estimate"] + np.array([-1, 1]) * stdtrit(16, 0.975) * rows.loc[term, "std_error"]
        expected = exact.loc[term, ["lower", "upper"]].to_numpy(float)
        assert np.abs(ends - expected).max() < 3 < 9 < np.abs(symmetric - expected).max()


def test_limits_of_the_total_variance(series, r_rows):
    r = r_rows("agreement", "total_variance").loc["total"]
    error_mm = (series["achieved_mm"] - series["planned_mm"]).to_numpy()
    limits = total_variance_limits(error_mm, series["patient_id"])
    assert limits == pytest.approx((r["lower"] / r["value"], r["upper"] / r["value"]), rel=1e-8)


def depth_cases(series):
    columns = {"patient_id": "patient_id", "achieved_mm": "achieved_last_mm", "planned_mm": "planned_last_mm"}
    return series.rename(columns=columns)


def test_error_along_the_planned_depth(series, r_rows):
    estimates = fit_depth_proportional_bias(depth_cases(series))
    r, independent = r_rows("agreement", "proportional_bias"), r_rows("agreement", "proportional_bias_lm")
    assert estimates.rows["term"].tolist() == ["(intercept)", "planned_last_mm"]
    np.testing.assert_allclose(estimates.rows["estimate"], r["value"], rtol=1e-5)
    np.testing.assert_allclose(estimates.rows["std_error"], r["se"], rtol=1e-5)
    np.testing.assert_allclose(estimates.design_effects["estimate"], (r["se"] / independent["se"]) ** 2, rtol=1e-5)


def test_design_effects_of_the_gain_are_over_least_squares(nested_gain, r_rows):
    estimates = fit_gain_mixed(*gain_tables(nested_gain), ["protrusion_mm", "grafted", "months"])
    rows, effects = (table[table["method"].eq("reml")].iloc[:4] for table in (estimates.rows, estimates.design_effects))
    expected = (rows["std_error"].to_numpy() / r_rows("agreement", "gain_lm")["se"].to_numpy()) ** 2
    np.testing.assert_allclose(effects["estimate"], expected, rtol=1e-8)
    # Clustering costs what differs between patients and pays for what differs within a site.
    effect = effects.set_index("term")["estimate"]
    assert effect["gain.mixed protrusion_mm"] > 1 > effect["gain.mixed months"]


def gain_tables(nested_gain):
    """Visits and cases; a residual height of 4 mm added to bone height and site alike leaves the gain as it was."""
    site_columns = ["site_id", "patient_id", "protrusion_mm", "grafted"]
    cases = nested_gain[site_columns].drop_duplicates().assign(rbh_mid_mm=4.0)
    return nested_gain[["site_id", "months"]].assign(bone_height_mm=nested_gain["gain_mm"] + 4.0), cases


def test_how_alike_the_gain_is_in_patients_and_in_sites(nested_gain, r_rows):
    visits, cases = gain_tables(nested_gain)
    empty = {"achieved_last_mm": np.nan, "planned_last_mm": np.nan, "perforation": "unknown"}
    rows = fit_measurement_icc(cases.assign(**empty), visits).rows
    rows = rows[rows["term"].eq("gain_mm")].set_index("method")
    for method, level in ((OF_PATIENT, "patient"), (OF_SITE, "site")):
        ours = rows.loc[method]
        r = r_rows("agreement", "nested_icc").loc[level]
        assert ours["estimate"] == pytest.approx(r["value"], rel=1e-4)
        assert ours["std_error"] == pytest.approx(r["value"] * (1 - r["value"]) * r["se"], rel=1e-3)
        assert ours[["conf_low", "conf_high"]].tolist() == pytest.approx(
            expit(logit(r["value"]) + np.array([-1, 1]) * 1.959964 * r["se"]).tolist(), rel=1e-3
        )
