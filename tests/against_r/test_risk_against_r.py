"""Splines, standardised risks, discrimination and calibration against R's Hmisc and gee (risk.R)."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from liftseries.estimators.gee import logistic_gee
from liftseries.estimators.prediction import c_statistic, calibration_intercept, calibration_slope
from liftseries.estimators.spline import knots_of, restricted_cubic_spline
from liftseries.models.perforation.risk import fit_perforation_risk
from liftseries.models.perforation.standardised import RiskModel
from liftseries.models.shared.complete_cases import perforation_data

CONVERGED = 1e-7
GRID_MM = [2.0, 4.0, 6.0, 8.0]


@pytest.fixture(scope="module")
def cases(series):
    return series.assign(
        patient_id=series["patient_id"].astype(str),
        perforation=np.where(series["perforation"].eq(1), "yes", "no"),
        rbh_mid_mm=series["residual_bone_mm"],
        protrusion_mm=np.nan,
        rbh_band=pd.cut(series["residual_bone_mm"], [-np.inf, 4, 6, np.inf], right=False, labels=["a", "b", "c"]),
        smoker=series["smoker"].astype(float),
    )


@pytest.fixture(scope="module")
def n_torn(series):
    """Patients with a perforation."""
    return series.loc[series["perforation"].eq(1), "patient_id"].nunique()


@pytest.fixture(scope="module")
def rows(cases):
    return fit_perforation_risk(cases, ["rbh_mid_mm", "smoker"], {"smoker": [0, 1]})


def test_knots_and_basis(series, r_rows):
    r = r_rows("risk", "spline")["value"]
    knots = knots_of(series["residual_bone_mm"])
    np.testing.assert_allclose(knots, r[["knot 1", "knot 2", "knot 3"]], rtol=1e-12)
    bent = restricted_cubic_spline(np.array(GRID_MM), knots)[:, 1]
    np.testing.assert_allclose(bent, r[[f"bent {mm:g}" for mm in GRID_MM]], rtol=1e-10, atol=1e-12)


def test_basis_with_four_knots():
    """Harrell's basis with knots 2, 4, 6, 8 at 5 and 9, worked out by R's Hmisc 4.8 (rcspline.eval, norm = 2)."""
    basis = restricted_cubic_spline(np.array([5.0, 9.0]), np.array([2.0, 4.0, 6.0, 8.0]))
    np.testing.assert_allclose(basis, [[5, 0.75, 1 / 36], [9, 22 / 3, 2]], rtol=1e-12)


def test_curve_of_a_plain_logistic_model(series, r_rows):
    x = restricted_cubic_spline(series["residual_bone_mm"], knots_of(series["residual_bone_mm"]))
    r = r_rows("risk", "glm")["value"]
    model = sm.GLM(series["perforation"], sm.add_constant(x), family=sm.families.Binomial()).fit(tol=1e-14)
    assert model.deviance == pytest.approx(r["deviance"], rel=1e-10)
    grid = restricted_cubic_spline(np.array(GRID_MM), knots_of(series["residual_bone_mm"]))
    assert model.predict(sm.add_constant(grid)) == pytest.approx(r[[f"risk {mm:g}" for mm in GRID_MM]], rel=1e-8)


def test_standardised_risks_and_the_bend(rows, r_rows, n_torn):
    """R's script stops before the factor m / (m - 1) for the m patients with a perforation."""
    r = r_rows("risk", "spline")
    factor = np.sqrt(n_torn / (n_torn - 1))
    ours = rows.rows.query("analysis == 'perforation.risk' and method == 'standardised'").set_index("term")
    for mm in GRID_MM:
        if f"{mm:g}" in ours.index:
            told = ours.loc[f"{mm:g}"]
            assert told["estimate"] == pytest.approx(r.loc[f"risk {mm:g}", "value"], rel=CONVERGED)
            assert told["std_error"] == pytest.approx(factor * r.loc[f"risk {mm:g}", "se"], rel=CONVERGED)
    bend = rows.rows[rows.rows["analysis"] == "perforation.nonlinearity"].set_index("term").loc["rbh_mid_mm"]
    assert bend["estimate"] == pytest.approx(r.loc["bend", "value"], rel=CONVERGED)
    assert bend["std_error"] == pytest.approx(r.loc["bend", "se"], rel=CONVERGED)
    assert len(ours) >= 8


def test_a_difference_of_the_plan(rows, r_rows, n_torn):
    r = r_rows("risk", "line").loc["difference"]
    ours = rows.rows.query("analysis == 'perforation.risk_difference' and method == 'standardised'").iloc[0]
    assert ours["term"] == "smoker: 0 to 1"
    assert ours["estimate"] == pytest.approx(100 * r["value"], rel=CONVERGED)
    assert ours["std_error"] == pytest.approx(100 * r["se"] * np.sqrt(n_torn / (n_torn - 1)), rel=CONVERGED)


def test_the_part_of_the_coefficients_and_that_of_the_patients(cases, series, r_rows, n_torn):
    """Coefficients and covariance from statsmodels: R has the delta method's part, a loop over patients the other."""
    data = perforation_data(cases, ["residual_bone_mm", "septa", "smoker"])
    fitted = sm.GLM(data.event.astype(float), data.design.matrix, family=sm.families.Binomial())
    groups = {"groups": pd.factorize(data.patient)[0], "use_correction": False}
    fitted = fitted.fit(tol=1e-14, cov_type="cluster", cov_kwds=groups)
    fit = logistic_gee(data.design.matrix, data.event, data.patient)
    model = RiskModel(data, replace(fit, coefficients=fitted.params, covariance=fitted.cov_params()))
    risk = model.risk(("smoker", 0), ("smoker", 1))
    r = r_rows("risk", "glm").loc["difference"]
    assert risk.mean == pytest.approx(r["value"], rel=1e-8)

    x = series[["residual_bone_mm", "septa", "smoker"]].astype(float)
    at = [fitted.predict(sm.add_constant(x.assign(smoker=s), has_constant="add")) for s in (0.0, 1.0)]
    difference = at[1] - at[0]
    patients = [
        (difference[series["patient_id"] == p] - difference.mean()).sum() for p in series["patient_id"].unique()
    ]
    of_patients = len(patients) / (len(patients) - 1) * np.sum(np.square(patients)) / len(series) ** 2
    assert risk.std_error**2 * (n_torn - 1) / n_torn == pytest.approx(r["se"] ** 2 + of_patients, rel=CONVERGED)


def test_discrimination_and_calibration(series, r_rows):
    """Standard errors: Obuchowski's over all pairs of sites, and a sandwich with K / (K - 1), both written out in R."""
    r = r_rows("risk", "prediction")
    x = sm.add_constant(series[["residual_bone_mm", "septa", "smoker"]].astype(float))
    risk = sm.GLM(series["perforation"], x, family=sm.families.Binomial()).fit(tol=1e-14).fittedvalues.to_numpy()
    event, patient = series["perforation"].eq(1).to_numpy(), series["patient_id"].to_numpy()
    assert c_statistic(risk, event, patient).estimate == pytest.approx(r.loc["c", "value"], rel=1e-10)
    poorer = np.clip(risk + (patient % 5 - 2) / 50, 0.001, 0.999)
    score = np.log(poorer / (1 - poorer))
    measures = {"score c": c_statistic, "intercept": calibration_intercept, "slope": calibration_slope}
    for quantity, measure in measures.items():
        found = measure(score, event, patient)
        assert found.estimate == pytest.approx(r.loc[quantity, "value"], rel=1e-8), quantity
        assert found.std_error == pytest.approx(r.loc[quantity, "se"], rel=CONVERGED), quantity
