"""Competing risks, intervals between visits, hazards over time and restricted means against R's survival.

Scripts: competing.R, interval.R, turnbull.R, proportional_hazards.R, restricted_mean.R.
"""

import numpy as np
import pandas as pd
import pytest

from liftseries.estimators.aalen_johansen import aalen_johansen
from liftseries.estimators.cox import cox_regression
from liftseries.estimators.proportional_hazards import hazards_over_time
from liftseries.estimators.rmst import restricted_mean
from liftseries.estimators.turnbull import innermost, turnbull
from liftseries.estimators.weibull import weibull_interval
from liftseries.models.survival.rmst import fit_survival_rmst

CLOSED_FORM = 1e-9
CONVERGED = 1e-6  # survreg stops at 1e-14 of the likelihood, and so at about 1e-7 of the coefficients
DIFFERENCED = 1e-6  # R's side is a central difference of its curve by each implant's weight
YEARS = [12, 24, 36, 48, 60]


def started(rows, word):
    """The rows whose quantity starts with a word, in R's order."""
    return rows[rows.index.str.startswith(word)]


def test_aalen_johansen_of_the_series(series, r_rows):
    status = series["status"].to_numpy()
    r = r_rows("competing", "series")
    alone = aalen_johansen(series["time_months"], status == 1, status == 2, np.arange(len(series)))
    failure, std_error, death = alone.at(YEARS)
    np.testing.assert_allclose(failure, started(r, "failure")["value"], rtol=CLOSED_FORM)
    np.testing.assert_allclose(std_error, started(r, "failure")["se"], rtol=CLOSED_FORM)
    np.testing.assert_allclose(death, started(r, "death")["value"], rtol=CLOSED_FORM)
    clustered = aalen_johansen(series["time_months"], status == 1, status == 2, series["patient_id"])
    np.testing.assert_allclose(clustered.at(YEARS)[1], started(r, "clustered")["se"], rtol=DIFFERENCED)


def test_aalen_johansen_with_heavy_ties(r_data, r_rows):
    """1,384 people with a monoclonal gammopathy: progression with death competing (Kyle and others 2002)."""
    people = r_data("survival", "mgus2")
    progressed = people["pstat"].eq(1)
    months = people["ptime"].where(progressed, people["futime"])
    curve = aalen_johansen(months, progressed, people["death"].eq(1) & ~progressed, np.arange(len(people)))
    r = r_rows("competing", "mgus")
    failure, std_error, death = curve.at([60, 120, 240, 360])
    np.testing.assert_allclose(failure, started(r, "failure")["value"], rtol=CLOSED_FORM)
    np.testing.assert_allclose(std_error, started(r, "failure")["se"], rtol=CLOSED_FORM)
    np.testing.assert_allclose(death, started(r, "death")["value"], rtol=CLOSED_FORM)


def compare_weibull(fit, r, std_error):
    # R's scale is the inverse of the shape.
    value = r["value"].to_numpy()[:-1] if "log-likelihood" in r.index else r["value"].to_numpy()
    np.testing.assert_allclose(fit.parameters, value * np.r_[np.ones(len(value) - 1), -1], rtol=CONVERGED)
    np.testing.assert_allclose(std_error, r["se"].to_numpy()[: len(value)], rtol=CONVERGED)
    if "log-likelihood" in r.index:
        assert fit.log_likelihood == pytest.approx(r.loc["log-likelihood", "value"], rel=1e-9)


def test_weibull_of_intervals_between_visits(series, r_rows):
    left, right = series["ic_left"].to_numpy(float), series["ic_right"].fillna(np.inf).to_numpy(float)
    tells = (left > 0) | np.isfinite(right)
    x = np.column_stack([np.ones(len(series)), series["smoker"], series["perforation"]]).astype(float)
    fit = weibull_interval(left[tells], right[tells], x[tells], series["patient_id"][tells])
    compare_weibull(fit, r_rows("interval", "series"), fit.naive_std_error)
    compare_weibull(fit, r_rows("interval", "series_cluster"), fit.std_error)


def test_weibull_of_exact_and_censored_times(r_data, r_rows):
    """The leukaemia remissions: 21 pairs of children, 6-MP against placebo (Freireich 1963)."""
    children = r_data("MASS", "gehan")
    x = np.column_stack([np.ones(len(children)), children["treat"].eq("control")]).astype(float)
    right = np.where(children["cens"].eq(1), children["time"], np.inf)
    fit = weibull_interval(children["time"], right, x, np.arange(len(children)))
    compare_weibull(fit, r_rows("interval", "gehan"), fit.naive_std_error)


def test_weibull_of_breasts_seen_between_visits(r_data, r_rows):
    """Cosmesis of both arms (Finkelstein and Wolfe 1985): radiotherapy alone, and with chemotherapy."""
    breasts = r_data("KMsurv", "bcdeter")
    x = np.column_stack([np.ones(len(breasts)), breasts["treat"].eq(2)]).astype(float)
    left, right = breasts["lower"].to_numpy(float), breasts["upper"].fillna(np.inf).to_numpy(float)
    fit = weibull_interval(left, right, x, np.arange(len(x)))
    compare_weibull(fit, r_rows("interval", "cosmesis"), fit.naive_std_error)


@pytest.mark.parametrize("key", ["series", "cosmesis"])
def test_turnbull_against_plain_em(series, r_data, r_rows, key):
    """Cosmesis: breasts that retracted between two visits (Finkelstein and Wolfe 1985), radiotherapy alone."""
    if key == "series":
        left, right = series["ic_left"].to_numpy(float), series["ic_right"].fillna(np.inf).to_numpy(float)
    else:
        breasts = r_data("KMsurv", "bcdeter").query("treat == 1")
        left, right = breasts["lower"].to_numpy(float), breasts["upper"].fillna(np.inf).to_numpy(float)
    intervals = innermost(left, right)
    fit = turnbull(intervals, np.bincount(intervals.which, minlength=len(intervals.holds)), 1e-14)
    r = r_rows("turnbull", key)
    named = [f"mass {a:g} {'Inf' if np.isinf(b) else f'{b:g}'}" for a, b in zip(fit.left, fit.right, strict=True)]
    assert named == started(r, "mass").index.tolist()
    np.testing.assert_allclose(fit.mass[0], started(r, "mass")["value"], atol=1e-9)
    assert fit.log_likelihood[0] == pytest.approx(r.loc["log-likelihood", "value"], rel=1e-12)
    for quantity, row in started(r, "survival").iterrows():
        month = float(quantity.split()[1])
        if not ((fit.left < month) & (month < fit.right)).any():
            assert fit.survival(month)[0, 0] == pytest.approx(row["value"], abs=1e-8)


def test_proportional_hazards_of_the_veterans(r_data, r_rows):
    men = r_data("survival", "veteran")
    cells = [men["celltype"].eq(cell).to_numpy(float) for cell in ("smallcell", "adeno", "large")]
    x = np.column_stack([men["trt"], *cells, men["karno"]]).astype(float)
    over_time = fitted_over_time(men["time"], men["status"].eq(1), x, np.arange(len(men)))
    columns = {"trt": [0], "celltype": [1, 2, 3], "karno": [4], "GLOBAL": [0, 1, 2, 3, 4]}
    compare_tests(over_time, columns, r_rows("proportional_hazards", "veteran"))


def test_proportional_hazards_of_two_eyes_a_patient(r_data, r_rows):
    eyes = r_data("survival", "retinopathy")
    x = eyes[["trt", "age"]].to_numpy(float)
    over_time = fitted_over_time(eyes["futime"], eyes["status"].eq(1), x, eyes["id"])
    columns = {"trt": [0], "age": [1], "GLOBAL": [0, 1]}
    compare_tests(over_time, columns, r_rows("proportional_hazards", "retinopathy"))
    compare_tests(over_time, columns, r_rows("proportional_hazards", "retinopathy_cluster"), clustered=True)


def test_residuals_are_those_that_r_plots(r_data, r_rows):
    eyes = r_data("survival", "retinopathy")
    over_time = fitted_over_time(eyes["futime"], eyes["status"].eq(1), eyes[["trt", "age"]].to_numpy(float), eyes["id"])
    order = np.argsort(over_time.months, kind="stable")[:5]
    r = r_rows("proportional_hazards", "residuals")["value"].to_numpy().reshape(2, 5)
    np.testing.assert_allclose(over_time.residuals[order].T, r, rtol=1e-6)


def test_proportional_hazards_of_the_series(series, r_rows):
    names = ["perforation", "smoker", "residual_bone_mm"]
    over_time = fitted_over_time(
        series["time_months"], series["status"].eq(1), series[names].to_numpy(float), series["patient_id"]
    )
    columns = {name: [k] for k, name in enumerate(names)} | {"GLOBAL": [0, 1, 2]}
    compare_tests(over_time, columns, r_rows("proportional_hazards", "series"))
    compare_tests(over_time, columns, r_rows("proportional_hazards", "series_cluster"), clustered=True)


def fitted_over_time(months, failed, x, cluster):
    fit = cox_regression(months, failed, x, cluster)
    return hazards_over_time(months, failed, x, cluster, fit.coefficients)


def compare_tests(over_time, columns, r, clustered=False):
    ours = [over_time.chi_squared(np.array(of_term), clustered) for of_term in columns.values()]
    assert list(columns) == r.index.tolist()
    np.testing.assert_allclose(ours, r["value"], rtol=1e-8)


def test_restricted_mean(series, r_data, r_rows):
    children = r_data("MASS", "gehan").query("treat == '6-MP'")
    eyes = r_data("survival", "retinopathy")
    for key, months, failed, cluster, horizon in (
        ("gehan", children["time"], children["cens"].eq(1), None, 20),
        ("retinopathy", eyes["futime"], eyes["status"].eq(1), eyes["id"], 60),
        ("series", series["time_months"], series["status"].eq(1), series["patient_id"], 60),
    ):
        mean = restricted_mean(months, failed, horizon)
        r = r_rows("restricted_mean", key)
        assert mean.months == pytest.approx(r.loc["mean", "value"], rel=CLOSED_FORM)
        assert np.sqrt(mean.influence @ mean.influence) == pytest.approx(r.loc["mean", "se"], rel=CLOSED_FORM)
        if cluster is not None:
            sums = np.bincount(np.unique(cluster, return_inverse=True)[1], weights=mean.influence)
            assert np.sqrt(sums @ sums) == pytest.approx(r.loc["clustered mean", "se"], rel=DIFFERENCED)


def test_difference_of_restricted_means_where_patients_have_both(series, r_data, r_rows):
    """The treated eye less the other of the same patient, and smokers less the others; both K above 50."""
    eyes = r_data("survival", "retinopathy")
    for key, months, failed, level, cluster, horizon in (
        ("retinopathy", eyes["futime"], eyes["status"].eq(1), eyes["trt"].eq(1), eyes["id"], 60),
        ("series", series["time_months"], series["status"].eq(1), series["smoker"].eq(1), series["patient_id"], 48),
    ):
        implants = pd.DataFrame({"patient_id": cluster, "months": months, "failed": failed, "level": level})
        row = fit_survival_rmst(implants, [horizon], ["level"]).rows.iloc[-1]
        r = r_rows("restricted_mean", key).loc["difference"]
        assert (row["analysis"], row["subset"]) == ("survival.rmst_difference", "level=true")
        assert row["estimate"] == pytest.approx(r["value"], rel=CLOSED_FORM)
        assert row["std_error"] == pytest.approx(r["se"], rel=DIFFERENCED)
        assert row["conf_low"] == pytest.approx(r["value"] - 1.959963984540054 * r["se"], rel=DIFFERENCED)
