"""Logistic GEE against R's package gee, and Mancl-DeRouen's covariance written out in base R (gee.R)."""

import numpy as np
import pandas as pd
import pytest

from liftseries.estimators.gee import logistic_gee
from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.perforation.rate import fit_perforation_rate

CONVERGED = 1e-8


def with_constant(*columns):
    return np.column_stack([np.ones(len(columns[0])), *columns])


def compare(x, event, cluster, r):
    """Sandwich with many patients; the bias-reduced covariance where it is asked for."""
    robust = r[r["se"].notna() & ~r.index.str.startswith("bias-reduced")]
    reduced = r[r.index.str.startswith("bias-reduced")]
    many = logistic_gee(x, event, cluster, few_clusters=0)
    few = logistic_gee(x, event, cluster, few_clusters=10**9)
    np.testing.assert_allclose(many.coefficients, robust["value"], rtol=CONVERGED)
    np.testing.assert_allclose(many.std_error, robust["se"], rtol=CONVERGED)
    np.testing.assert_allclose(few.std_error, reduced["se"], rtol=CONVERGED)
    np.testing.assert_allclose([many.alpha, many.phi], r.loc[["alpha", "phi"], "value"], rtol=CONVERGED)
    assert many.df is None
    assert few.df == len(np.unique(cluster)) - x.shape[1]


def test_gee_of_the_series(series, r_rows):
    x = with_constant(series["residual_bone_mm"], series["septa"], series["smoker"])
    compare(x, series["perforation"], series["patient_id"], r_rows("gee", "series"))


def test_gee_of_a_constant_alone(series, r_rows):
    x = np.ones((len(series), 1))
    compare(x, series["perforation"], series["patient_id"], r_rows("gee", "series_rate"))


def test_gee_of_wheezing_children(r_data, r_rows):
    ohio = r_data("geepack", "ohio")
    x = with_constant(ohio["age"], ohio["smoke"], ohio["age"] * ohio["smoke"])
    compare(x, ohio["resp"], ohio["id"], r_rows("gee", "ohio"))


def test_gee_of_unequal_clusters(r_data, r_rows):
    bacteria = r_data("MASS", "bacteria")
    x = with_constant(bacteria["trt"].ne("placebo"), bacteria["week"] > 2)
    compare(x.astype(float), bacteria["y"].eq("y"), bacteria["ID"], r_rows("gee", "bacteria"))


@pytest.fixture
def few_cases(series):
    """The first 40 patients under the names of the contract."""
    few = series[series["patient_id"] <= 40]
    perforation = pd.Categorical(np.where(few["perforation"] == 1, "yes", "no"), ["no", "yes", "unknown"])
    return few.rename(columns={"implant_id": "site_id"}).assign(perforation=perforation)


def test_rows_of_perforation_gee_under_50_patients(few_cases, r_rows):
    rows = fit_perforation_gee(few_cases, ["residual_bone_mm"]).rows
    r = r_rows("gee", "few")
    robust = rows[rows["method"].eq("sandwich")]
    np.testing.assert_allclose(robust["std_error"], r.loc[r.index[:2], "se"], rtol=CONVERGED)
    assert robust["df"].isna().all()
    rows = rows[rows["method"].eq("corrected")]
    r = r[r.index.str.startswith("bias-reduced")]
    np.testing.assert_allclose(rows["estimate"], r["value"], rtol=CONVERGED)
    assert rows["df"].tolist() == [38, 38]
    assert rows["note"].str.contains("t(K - p)", regex=False).all()
    # Of the slope the model's own variance is the larger; its oracle is statsmodels' naive one in test_gee.py.
    larger = rows["note"].str.startswith("the model's own variance")
    assert larger.tolist() == [False, True]
    assert rows["std_error"].iloc[0] == pytest.approx(r["se"].iloc[0], rel=CONVERGED)
    assert rows["std_error"].iloc[1] > r["se"].iloc[1]
    t_38 = 2.02439416391197  # qt(0.975, 38) in R 4.2.2
    np.testing.assert_allclose(rows["conf_high"], r["value"].to_numpy() + t_38 * rows["std_error"], rtol=CONVERGED)


def test_cluster_row_of_perforation_rate(few_cases, r_rows):
    """The rate is plogis(b); its limits are plogis(b ± t se) with K - 1 degrees of freedom."""
    rows = fit_perforation_rate(few_cases).rows.set_index("method")
    r = r_rows("gee", "few_rate").loc["bias-reduced (Intercept)"]
    risk = 1 / (1 + np.exp(-r["value"]))
    t_39 = 2.02269092003676  # qt(0.975, 39) in R 4.2.2
    low, high = 1 / (1 + np.exp(-(r["value"] + np.array([-1, 1]) * t_39 * r["se"])))
    ours = rows.loc["cluster", ["estimate", "std_error", "conf_low", "conf_high"]].astype(float)
    np.testing.assert_allclose(ours, [risk, risk * (1 - risk) * r["se"], low, high], rtol=CONVERGED)
    assert rows.loc["cluster", "df"] == 39
