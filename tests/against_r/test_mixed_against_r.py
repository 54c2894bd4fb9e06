"""REML mixed models against R's nlme and lme4 (mixed.R, nested_lmer.R, nested_sandwich.R)."""

import numpy as np
import pandas as pd
import pytest

from liftseries.estimators.mixed import mixed_reml
from liftseries.estimators.mixed_clustered import patient_influence
from liftseries.models.depth.agreement import fit_depth_agreement
from liftseries.models.gain.mixed import fit_gain_mixed

FIXED = 1e-6  # both sides iterate; ours polishes its optimum, nlme and lme4 stop at 1e-8 or so of the likelihood
VARIANCE = 1e-6
LIKELIHOOD = 1e-10


TERMS = ["(intercept)", "protrusion_mm", "grafted", "months"]


def with_constant(*columns):
    return np.column_stack([np.ones(len(columns[0])), *columns])


def test_orthodontic_growth(r_data, r_rows):
    growth = r_data("nlme", "Orthodont")
    x = with_constant(growth["age"], growth["Sex"].eq("Female"))
    fit = mixed_reml(growth["distance"].to_numpy(), x.astype(float), growth["Subject"].to_numpy())
    r = r_rows("mixed", "orthodont")
    np.testing.assert_allclose(fit.coefficients, r["value"][:3], rtol=FIXED)
    np.testing.assert_allclose(fit.std_error, r["se"][:3], rtol=FIXED)
    sd = np.sqrt([fit.patient_variance, fit.residual_variance])
    np.testing.assert_allclose(sd, r.loc[["sd patient", "sd residual"], "value"], rtol=VARIANCE)
    assert fit.log_likelihood == pytest.approx(r.loc["log-likelihood", "value"], rel=LIKELIHOOD)


def test_a_variance_of_zero_is_an_answer(series, r_rows):
    """nlme stops at a patient SD of 4e-5 mm here; ours is zero, and everything else agrees."""
    x = with_constant(series["residual_bone_mm"], series["perforation"]).astype(float)
    fit = mixed_reml(series["bone_gain_mm"].to_numpy(), x, series["patient_id"].to_numpy())
    r = r_rows("mixed", "series_gain")
    assert fit.patient_variance == 0
    assert r.loc["sd patient", "value"] < 1e-4
    np.testing.assert_allclose(fit.coefficients, r["value"][:3], rtol=FIXED)
    np.testing.assert_allclose(fit.std_error, r["se"][:3], rtol=FIXED)
    assert np.sqrt(fit.residual_variance) == pytest.approx(r.loc["sd residual", "value"], rel=VARIANCE)
    assert fit.log_likelihood == pytest.approx(r.loc["log-likelihood", "value"], rel=LIKELIHOOD)


def compare_nested(fit, r, intercepts):
    np.testing.assert_allclose(fit.coefficients, r["value"][:4], rtol=FIXED)
    np.testing.assert_allclose(fit.std_error, r["se"][:4], rtol=FIXED)
    ours = {"patient": fit.patient_variance, "site": fit.site_variance, "residual": fit.residual_variance}
    theirs = [r.loc[f"sd:{name}", "value"] for name in intercepts.values()]
    np.testing.assert_allclose(np.sqrt([ours[name] for name in intercepts]), theirs, rtol=VARIANCE)
    assert fit.log_likelihood == pytest.approx(r.loc["REML loglik", "value"], rel=LIKELIHOOD)


@pytest.mark.parametrize(
    ("key", "intercepts"),
    [
        ("both", {"patient": "patient_id", "site": "site_id", "residual": "Residual"}),
        ("both_nlme", {"patient": "patient_id", "site": "site_id:patient_id", "residual": "Residual"}),
        ("patient", {"patient": "patient_id", "residual": "Residual"}),
        ("site", {"site": "site_id", "residual": "Residual"}),
    ],
)
def test_visits_within_sites_within_patients(nested_gain, r_rows, key, intercepts):
    x = with_constant(*nested_gain[["protrusion_mm", "grafted", "months"]].to_numpy(float).T)
    patient = nested_gain["patient_id"].to_numpy() if "patient" in intercepts else None
    site = nested_gain["site_id"].to_numpy() if "site" in intercepts else None
    fit = mixed_reml(nested_gain["gain_mm"].to_numpy(), x, patient, site)
    compare_nested(fit, r_rows("nested_lmer", key), intercepts)


@pytest.mark.parametrize("key", ["both", "patient", "site"])
def test_the_sandwich_is_that_of_lmers_fit_with_full_matrices(nested_gain, r_rows, key):
    x = with_constant(*nested_gain[["protrusion_mm", "grafted", "months"]].to_numpy(float).T)
    y, patient, site = (nested_gain[name].to_numpy() for name in ("gain_mm", "patient_id", "site_id"))
    fit = mixed_reml(y, x, patient if key != "site" else None, site if key != "patient" else None)
    influence = patient_influence(fit, y, x, patient, site)
    std_error = np.sqrt(np.diag(influence.T @ influence))
    np.testing.assert_allclose(std_error, r_rows("nested_sandwich", key)["value"], rtol=FIXED)


def test_rows_of_gain_mixed(nested_gain, r_rows):
    """A residual height of 4 mm added to bone height and site alike leaves the gain that lmer saw."""
    site_columns = ["site_id", "patient_id", "protrusion_mm", "grafted"]
    cases = nested_gain[site_columns].drop_duplicates().assign(rbh_mid_mm=4.0)
    visits = nested_gain[["site_id", "months"]].assign(bone_height_mm=nested_gain["gain_mm"] + 4.0)
    gain = fit_gain_mixed(visits, cases, ["protrusion_mm", "grafted", "months"])
    r = r_rows("nested_lmer", "both")
    of_method = {method: rows.set_index("term") for method, rows in gain.rows.groupby("method")}
    reml = of_method["reml"].loc[TERMS]
    np.testing.assert_allclose(reml["estimate"], r["value"][:4], rtol=FIXED)
    np.testing.assert_allclose(reml["std_error"], r["se"][:4], rtol=FIXED)
    # 60 patients; where the sandwich is the smaller one, lmer's own error stands.
    sandwich = r_rows("nested_sandwich", "both")["value"] * np.sqrt(60 / 59)
    larger = np.maximum(sandwich.to_numpy(), r["se"][:4].to_numpy())
    assert (larger == sandwich.to_numpy()).tolist() == [True, True, False, False]
    np.testing.assert_allclose(of_method["corrected"].loc[TERMS, "std_error"], larger, rtol=FIXED)
    sd = gain.variances.loc[0, ["patient_sd_mm", "site_sd_mm", "residual_sd_mm"]].astype(float)
    theirs = r.loc[["sd:patient_id", "sd:site_id", "sd:Residual"], "value"]
    np.testing.assert_allclose(sd, theirs, rtol=VARIANCE)
    of_model = gain.rows[gain.rows["method"].ne("patients")]
    assert of_model["n_patients"].eq(60).all()
    assert of_model["df"].isna().all()


def depth_cases(series, patient):
    return pd.DataFrame(
        {
            "site_id": series["implant_id"],
            "patient_id": patient,
            "achieved_last_mm": series["achieved_mm"],
            "planned_last_mm": series["planned_mm"],
        }
    )


def test_rows_of_depth_agreement(series, r_rows):
    rows = (
        fit_depth_agreement(depth_cases(series, series["patient_id"])).rows.query("method == 'reml'").set_index("term")
    )
    r = r_rows("mixed", "series_depth")
    assert rows.loc["bias", "std_error"] == pytest.approx(r.loc["(Intercept)", "se"], rel=FIXED)
    theirs = r.loc[["(Intercept)", "low", "high"], "value"]
    np.testing.assert_allclose(rows.loc[["bias", "low", "high"], "estimate"], theirs, rtol=FIXED)


def test_limits_of_independent_sites_have_bland_and_altmans_standard_error(series, r_rows):
    rows = fit_depth_agreement(depth_cases(series, series["implant_id"])).rows.query("method == 'reml'")
    r = r_rows("mixed", "series_depth_unclustered")
    assert rows["term"].tolist() == list(r.index)
    np.testing.assert_allclose(rows["estimate"], r["value"], rtol=1e-10)
    np.testing.assert_allclose(rows["std_error"], r["se"], rtol=1e-10)
