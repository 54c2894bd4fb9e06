"""Kaplan-Meier, life table and Cox model against R's survival and KMsurv (kaplan_meier.R, life_table.R, cox.R)."""

import numpy as np
import pytest
from scipy import stats

from liftseries.estimators.cox import cox_regression
from liftseries.estimators.kaplan_meier import kaplan_meier, log_log_interval
from liftseries.models.survival.cox import fit_survival_cox
from liftseries.models.survival.km import fit_survival_km
from liftseries.models.survival.life_table import life_table

CLOSED_FORM = 1e-10
CONVERGED = 1e-8
YEARS = [12, 24, 36, 48, 60]
# The 6-MP arm of Freireich 1963: weeks in remission, 21 children; a printed fact found in most survival texts.
SIX_MP_WEEKS = [6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
SIX_MP_RELAPSED = [True] * 9 + [False] * 12


def curve(months, failed, cluster, at):
    """Survival, standard error and log-log limits at given months, shape (len(at), 4)."""
    survival, std_error = kaplan_meier(months, failed, cluster).at(at)
    return np.column_stack([survival, std_error, *log_log_interval(survival, std_error)])


def implants_of(series):
    """The simulated series under the names that follow_up() gives."""
    return series.assign(months=series["time_months"].astype(float), failed=series["status"].eq(1))


def test_one_implant_a_patient_has_greenwoods_variance(r_rows):
    ours = curve(SIX_MP_WEEKS, SIX_MP_RELAPSED, np.arange(21), [6, 7, 10, 13, 16, 22, 23])
    np.testing.assert_allclose(ours, r_rows("kaplan_meier", "six_mp"), rtol=CLOSED_FORM)


@pytest.mark.parametrize(("key", "clustered"), [("series", False), ("series_cluster", True)])
def test_kaplan_meier_of_the_series(series, r_rows, key, clustered):
    cluster = series["patient_id"] if clustered else series["implant_id"]
    ours = curve(series["time_months"], series["status"] == 1, cluster, YEARS)
    np.testing.assert_allclose(ours, r_rows("kaplan_meier", key), rtol=CLOSED_FORM)


@pytest.mark.parametrize(("key", "clustered"), [("retinopathy", False), ("retinopathy_cluster", True)])
def test_kaplan_meier_of_two_eyes_a_patient(r_data, r_rows, key, clustered):
    eyes = r_data("survival", "retinopathy")
    cluster = eyes["id"] if clustered else np.arange(len(eyes))
    ours = curve(eyes["futime"], eyes["status"] == 1, cluster, YEARS)
    np.testing.assert_allclose(ours, r_rows("kaplan_meier", key), rtol=CLOSED_FORM)


def test_rows_of_survival_km_by_smoker(series, r_rows):
    """The rows of results.csv carry what `survfit(~ smoker, cluster =)` gives stratum by stratum."""
    rows = fit_survival_km(implants_of(series), [12, 36, 60], ["smoker"]).rows
    r = r_rows("kaplan_meier", "series_smoker_cluster")
    for smoker in (0, 1):
        chosen = rows["subset"].eq(f"smoker={smoker}") & rows["method"].eq("infinitesimal_jackknife")
        ours = rows.loc[chosen, ["estimate", "std_error", "conf_low", "conf_high"]]
        np.testing.assert_allclose(ours, r[r.index.str.startswith(f"smoker={smoker}")], rtol=CLOSED_FORM)


def test_corrected_rows_are_those_of_r_times_a_factor(series, r_rows):
    """R's standard error times the root of m / (m - 1), m the patients with a failure by the month."""
    implants = implants_of(series)
    rows = fit_survival_km(implants, [12, 36, 60], ["smoker"]).rows
    r = r_rows("kaplan_meier", "series_smoker_cluster")
    for smoker in (0, 1):
        ours = rows[rows["subset"].eq(f"smoker={smoker}") & rows["method"].eq("corrected")]
        failed = implants[implants["smoker"].eq(smoker) & implants["failed"]]
        m = np.array([failed.loc[failed["months"] <= month, "patient_id"].nunique() for month in (12, 36, 60)])
        theirs = r[r.index.str.startswith(f"smoker={smoker}")]
        std_error = theirs["se"].to_numpy() * np.sqrt(m / (m - 1))
        np.testing.assert_allclose(ours["std_error"], std_error, rtol=CLOSED_FORM)
        limits = np.column_stack(log_log_interval(theirs["value"], std_error))
        np.testing.assert_allclose(ours[["conf_low", "conf_high"]], limits, rtol=CLOSED_FORM)


def test_life_table_of_the_series(series, r_rows):
    life = life_table(series["time_months"], series["status"] == 1, series["patient_id"])
    r = r_rows("life_table", "series")["value"]
    np.testing.assert_allclose(life.survival[:6], r[r.index.str.startswith("survival")], rtol=CLOSED_FORM)
    # R's last interval is open, ours ends at 72.
    np.testing.assert_allclose(life.n_effective[:5], r[r.index.str.startswith("effective")][:5], rtol=CLOSED_FORM)


def test_life_table_of_two_eyes_a_patient(r_data, r_rows):
    eyes = r_data("survival", "retinopathy")
    life = life_table(eyes["futime"], eyes["status"] == 1, eyes["id"])
    r = r_rows("life_table", "retinopathy")["value"]
    np.testing.assert_allclose(life.survival[:6], r[r.index.str.startswith("survival")], rtol=CLOSED_FORM)


def test_life_table_variance_where_it_is_binomial(r_rows):
    """Nobody is censored before the last interval, so the actuarial variance needs no half implants."""
    months = np.array([3, 3, 7, 15, 20, 30, 40, 40, 40])
    life = life_table(months, months < 40, np.arange(9))
    r = r_rows("life_table", "proportion")
    r = r[r.index.str.startswith("survival")]
    np.testing.assert_allclose(life.survival, r["value"], rtol=CLOSED_FORM)
    np.testing.assert_allclose(life.std_error, r["se"], rtol=CLOSED_FORM)


def compare_cox(fit, r):
    coefficients = r[r["se"].notna()]
    np.testing.assert_allclose(fit.coefficients, coefficients["value"], rtol=CONVERGED)
    np.testing.assert_allclose(fit.std_error, coefficients["se"], rtol=CONVERGED)
    np.testing.assert_allclose(fit.naive_std_error, r["value"][r.index.str.startswith("naive")], rtol=CONVERGED)
    likelihood = [fit.log_likelihood_null, fit.log_likelihood]
    np.testing.assert_allclose(likelihood, r["value"][r.index.str.startswith("log-")], rtol=CONVERGED)


def test_cox_of_the_series(series, r_rows):
    x = series[["perforation", "smoker", "residual_bone_mm"]].to_numpy(float)
    fit = cox_regression(series["time_months"], series["status"] == 1, x, series["patient_id"])
    compare_cox(fit, r_rows("cox", "series"))


@pytest.mark.parametrize(("key", "ties"), [("retinopathy", "efron"), ("retinopathy_breslow", "breslow")])
def test_cox_with_ties_of_two_eyes_a_patient(r_data, r_rows, key, ties):
    eyes = r_data("survival", "retinopathy")
    adult = eyes["type"].eq("adult").to_numpy(float)
    treated = eyes["trt"].to_numpy(float)
    x = np.column_stack([treated, adult, treated * adult])
    fit = cox_regression(eyes["futime"], eyes["status"] == 1, x, eyes["id"], ties)
    compare_cox(fit, r_rows("cox", key))


@pytest.mark.parametrize(("key", "ties"), [("kidney", "efron"), ("kidney_breslow", "breslow")])
def test_cox_with_a_four_level_factor(r_data, r_rows, key, ties):
    kidney = r_data("survival", "kidney")
    disease = [kidney["disease"].eq(level).to_numpy(float) for level in ("GN", "AN", "PKD")]
    x = np.column_stack([kidney["age"], kidney["sex"], *disease])
    fit = cox_regression(kidney["time"], kidney["status"] == 1, x, kidney["id"], ties)
    compare_cox(fit, r_rows("cox", key))


def test_rows_of_survival_cox(series, r_rows):
    rows = fit_survival_cox(implants_of(series), ["perforation", "smoker", "residual_bone_mm"]).rows
    rows = rows[rows["method"].eq("sandwich")]
    r = r_rows("cox", "series")
    r = r[r["se"].notna()]
    np.testing.assert_allclose(rows[["estimate", "std_error", "conf_low", "conf_high"]], r, rtol=CONVERGED)
    assert rows["term"].tolist() == ["perforation", "smoker", "residual_bone_mm"]
    assert rows[["n_sites", "n_patients", "n_events"]].iloc[0].tolist() == [319, 190, 50]


def test_corrected_rows_of_survival_cox(series, r_rows):
    """R's sandwich times m / (m - 1), not below R's model variance; and t(m - 1)."""
    implants = implants_of(series)
    rows = fit_survival_cox(implants, ["perforation", "smoker", "residual_bone_mm"]).rows
    rows = rows[rows["method"].eq("corrected")]
    r = r_rows("cox", "series")
    robust, naive = r.loc[r["se"].notna(), "se"], r["value"][r.index.str.startswith("naive")]
    m = implants.loc[implants["failed"], "patient_id"].nunique()
    std_error = np.maximum(robust.to_numpy() * np.sqrt(m / (m - 1)), naive.to_numpy())
    np.testing.assert_allclose(rows["std_error"], std_error, rtol=CONVERGED)
    assert rows["df"].eq(m - 1).all()
    half = stats.t.ppf(0.975, m - 1) * std_error
    np.testing.assert_allclose(rows["conf_high"] - rows["estimate"], half, rtol=1e-7)
