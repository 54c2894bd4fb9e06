"""Firth's penalty against logistf (firth_logistf.R) and against penalised models written out in R (firth.R)."""

import numpy as np
import pandas as pd
import pytest

from liftseries.estimators.firth import firth_logistic
from liftseries.estimators.firth_cox import firth_cox
from liftseries.estimators.patients_left_out import firth_logistic_jackknife
from liftseries.models.perforation.firth import fit_perforation_firth
from liftseries.models.survival.cox import fit_survival_cox
from liftseries.models.survival.firth_cox import fit_survival_firth_cox

CONVERGED = 1e-9
LIMITS = 1e-8
TERMS = {"series": ["residual_bone_mm", "septa", "smoker"], "series_separated": ["sep", "smoker"]}


@pytest.fixture
def separated(series):
    """The series with two columns for the fifth operator's implants: those not perforated, and those that lasted."""
    fifth = series["operator"].eq(5)
    sep = (fifth & series["perforation"].eq(0)).astype(float)
    never = (fifth & series["status"].ne(1)).astype(float)
    return series.assign(sep=sep, never=never)


def columns(table, terms):
    return table[terms].to_numpy(float)


def with_constant(table, terms):
    return np.column_stack([np.ones(len(table)), columns(table, terms)])


@pytest.mark.parametrize("key", TERMS)
def test_logistic_fit_limits_and_p_values_are_those_of_logistf(separated, r_rows, key):
    r = r_rows("firth_logistf", key)
    fit = firth_logistic(with_constant(separated, TERMS[key]), separated["perforation"] == 1)
    coefficients = r[r["se"].notna()]
    np.testing.assert_allclose(fit.coefficients, coefficients["value"], rtol=CONVERGED)
    np.testing.assert_allclose(fit.std_error, coefficients["se"], rtol=CONVERGED)
    np.testing.assert_allclose(fit.conf_low, coefficients["lower"], rtol=LIMITS)
    np.testing.assert_allclose(fit.conf_high, coefficients["upper"], rtol=LIMITS)
    # logistf takes 1 - pchisq(), which is 0 for the intercept of the separated series.
    p_value = r["value"][r.index.str.startswith("p ")]
    np.testing.assert_allclose(fit.p_value, p_value, rtol=1e-8, atol=1e-12)
    assert fit.log_likelihood == pytest.approx(r.loc["penalised log-likelihood", "value"], rel=1e-10)


@pytest.mark.parametrize("key", TERMS)
def test_logistic_jackknife_leaves_patients_out(separated, r_rows, key):
    r = r_rows("firth", key)
    x, event = with_constant(separated, TERMS[key]), separated["perforation"] == 1
    std_error = firth_logistic_jackknife(x, event, separated["patient_id"], r["value"].to_numpy())
    np.testing.assert_allclose(std_error, r["se"], rtol=1e-8)


@pytest.mark.parametrize(
    ("key", "terms"), [("cox_series", ["perforation", "smoker"]), ("cox_no_failure", ["never", "smoker"])]
)
def test_cox_fit_and_limits_with_efrons_ties(separated, r_rows, key, terms):
    """R's derivatives are differences of coxph's likelihood, which settle its estimate to some 9 digits."""
    r = r_rows("firth", key)
    fit = firth_cox(separated["time_months"], separated["status"] == 1, columns(separated, terms))
    coefficients = r[r["se"].notna()]
    np.testing.assert_allclose(fit.coefficients, coefficients["value"], rtol=1e-7)
    np.testing.assert_allclose(fit.std_error, coefficients["se"], rtol=1e-7)
    np.testing.assert_allclose(fit.conf_low, coefficients["lower"], rtol=1e-7)
    np.testing.assert_allclose(fit.conf_high, coefficients["upper"], rtol=1e-7)
    assert fit.log_likelihood == pytest.approx(r.loc["penalised log-likelihood", "value"], rel=1e-10)


def test_rows_of_perforation_firth(series, r_rows):
    """Names of the contract; `profile` is logistf's printout, `jackknife` the same estimate with its own error."""
    perforation = pd.Categorical(np.where(series["perforation"] == 1, "yes", "no"), ["no", "yes", "unknown"])
    rows = fit_perforation_firth(series.assign(perforation=perforation), TERMS["series"]).rows.set_index("method")
    r, jackknife = r_rows("firth_logistf", "series"), r_rows("firth", "series")
    r = r[r["se"].notna()]
    ours = rows.loc["profile", ["estimate", "std_error", "conf_low", "conf_high"]].to_numpy(float)
    np.testing.assert_allclose(ours, r, rtol=LIMITS)
    assert rows.loc["profile", "term"].tolist() == ["(intercept)", *TERMS["series"]]
    half = 1.959963984540054 * jackknife["se"]
    np.testing.assert_allclose(rows.loc["jackknife", "std_error"], jackknife["se"], rtol=1e-8)
    np.testing.assert_allclose(rows.loc["jackknife", "conf_low"], jackknife["value"] - half, rtol=1e-8)
    assert rows.loc["profile", ["n_sites", "n_patients", "n_events"]].iloc[0].tolist() == [
        319,
        190,
        series["perforation"].sum(),
    ]


def test_rows_of_survival_firth_cox_and_what_the_cox_model_says(separated, r_rows):
    implants = separated.assign(months=separated["time_months"].astype(float), failed=separated["status"].eq(1))
    rows = fit_survival_firth_cox(implants, ["never", "smoker"]).rows
    profile = rows[rows["method"].eq("profile")]
    r = r_rows("firth", "cox_no_failure")
    r = r[r["se"].notna()]
    np.testing.assert_allclose(profile[["estimate", "std_error", "conf_low", "conf_high"]], r, rtol=1e-7)
    unpenalised = fit_survival_cox(implants, ["never", "smoker"]).rows
    assert unpenalised["estimate"].isna().all()
    assert unpenalised["problem"].str.contains("extreme of never").all()
    assert unpenalised["problem"].str.endswith("see survival.firth_cox").all()


def test_design_effects_of_the_cox_model_are_robust_over_naive_variance(series, r_rows):
    implants = series.assign(months=series["time_months"].astype(float), failed=series["status"].eq(1))
    terms = ["perforation", "smoker", "residual_bone_mm"]
    effects = fit_survival_cox(implants, terms).design_effects
    r = r_rows("cox", "series")
    expected = [(r.loc[term, "se"] / r.loc[f"naive {term}", "value"]) ** 2 for term in terms]
    np.testing.assert_allclose(effects["estimate"], expected, rtol=1e-8)
    assert effects["term"].tolist() == [f"survival.cox {term}" for term in terms]
