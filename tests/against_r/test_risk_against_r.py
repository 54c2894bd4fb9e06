"""Splines, standardised risks, discrimination and calibration against R's Hmisc and gee (risk.R)."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.estimators.prediction import c_statistic, calibration_intercept, calibration_slope
from liftseries.models.estimators.spline import knots_of, restricted_cubic_spline
from liftseries.models.perforation_risk import fit_perforation_risk

CONVERGED = 1e-7
GRID_MM = [2.0, 4.0, 6.0, 8.0]


@pytest.fixture(scope="module")
def rows(series):
    cases = series.assign(
        patient_id=series["patient_id"].astype(str),
        perforation=np.where(series["perforation"].eq(1), "yes", "no"),
        rbh_mid_mm=series["residual_bone_mm"],
        protrusion_mm=np.nan,
        rbh_band=pd.cut(series["residual_bone_mm"], [-np.inf, 4, 6, np.inf], right=False, labels=["a", "b", "c"]),
        smoker=series["smoker"].astype(float),
    )
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


def test_standardised_risks_and_the_bend(rows, r_rows, series):
    """R's script stops before the factor m / (m - 1) for the m patients with a perforation."""
    r = r_rows("risk", "spline")
    m = series.loc[series["perforation"].eq(1), "patient_id"].nunique()
    factor = np.sqrt(m / (m - 1))
    ours = rows.rows[rows.rows["analysis"] == "perforation.risk"].set_index("term")
    for mm in GRID_MM:
        if f"{mm:g}" in ours.index:
            told = ours.loc[f"{mm:g}"]
            assert told["estimate"] == pytest.approx(r.loc[f"risk {mm:g}", "value"], rel=CONVERGED)
            assert told["std_error"] == pytest.approx(factor * r.loc[f"risk {mm:g}", "se"], rel=CONVERGED)
    bend = rows.rows[rows.rows["analysis"] == "perforation.nonlinearity"].set_index("term").loc["rbh_mid_mm"]
    assert bend["estimate"] == pytest.approx(r.loc["bend", "value"], rel=CONVERGED)
    assert bend["std_error"] == pytest.approx(r.loc["bend", "se"], rel=CONVERGED)
    assert len(ours) >= 8


def test_discrimination_and_calibration(series, r_rows):
    r = r_rows("risk", "prediction")["value"]
    import statsmodels.api as sm

    x = sm.add_constant(series[["residual_bone_mm", "septa", "smoker"]].astype(float))
    risk = sm.GLM(series["perforation"], x, family=sm.families.Binomial()).fit(tol=1e-14).fittedvalues.to_numpy()
    event, patient = series["perforation"].eq(1).to_numpy(), series["patient_id"].to_numpy()
    assert c_statistic(risk, event, patient).estimate == pytest.approx(r["c"], rel=1e-10)
    poorer = np.clip(risk + (patient % 5 - 2) / 50, 0.001, 0.999)
    score = np.log(poorer / (1 - poorer))
    assert c_statistic(score, event, patient).estimate == pytest.approx(r["score c"], rel=1e-10)
    assert calibration_intercept(score, event, patient).estimate == pytest.approx(r["intercept"], rel=1e-8)
    assert calibration_slope(score, event, patient).estimate == pytest.approx(r["slope"], rel=1e-8)
