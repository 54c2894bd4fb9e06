"""How alike the sites of a patient are: intraclass correlations of what was measured, done and seen."""

import numpy as np
import pandas as pd

from liftseries.models.estimators.variance_components import icc_jackknife, one_way
from liftseries.models.gain_mixed import gain_at_visits
from liftseries.models.perforation_rate import known_perforation
from liftseries.models.tidy import (
    CONF_LEVEL,
    NO_STD_ERROR,
    Estimates,
    Fit,
    NotFitted,
    critical_value,
    left_out_table,
    results_table,
)

ANALYSIS = "measurement.icc"
METHOD = "one-way variance components"


def fit_measurement_icc(cases: pd.DataFrame, visits: pd.DataFrame) -> Estimates:
    """Intraclass correlations of the sites of a patient.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    visits : the contract's visits

    Returns
    -------
    Estimates
        Terms `rbh_mid_mm`, `last_error_mm`, `gain_mm` (each site's last measurement) and `perforation`, scale `ratio`.
        Numbers have limits from F; the perforation, being yes or no, from leaving patients out, on Fisher's z.

    Source: see `one_way`, `OneWay.f_interval` and `icc_jackknife`.
    """
    gains = gain_at_visits(visits, cases).sort_values("months", kind="stable")
    last_gain = gains.groupby("site_id", sort=False).last().reset_index()
    error_mm = cases["achieved_last_mm"].astype(float) - cases["planned_last_mm"].astype(float)
    known, perforated = known_perforation(cases)
    quantities = {
        "rbh_mid_mm": (cases["rbh_mid_mm"], cases["patient_id"]),
        "last_error_mm": (error_mm, cases["patient_id"]),
        "gain_mm": (last_gain["gain_mm"], last_gain["patient_id"]),
        "perforation": (pd.Series(perforated[known].astype(float)), cases.loc[known, "patient_id"]),
    }
    rows = []
    for term, (value, patient) in quantities.items():
        value, patient = value.to_numpy(float, na_value=np.nan), patient.to_numpy()
        there = np.isfinite(value)
        rows.append(_row(term, value[there], patient[there]))
    return Estimates(results_table(rows), left_out_table(ANALYSIS, "all", []))


def _row(term: str, value: np.ndarray, patient: np.ndarray) -> dict:
    yes_or_no = term == "perforation"
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="ratio",
        method=f"{METHOD}, {'patient jackknife on Fisher z' if yes_or_no else 'limits from F'}",
        n_sites=len(value),
        n_patients=len(pd.unique(patient)),
        n_events=int(value.sum()) if yes_or_no else None,
    )
    try:
        parts = one_way(value, patient)
        if yes_or_no and fit.n_patients < 4:
            raise NotFitted(f"too few patients ({fit.n_patients}) to leave one out")
        se = icc_jackknife(value, patient) if yes_or_no else np.nan
    except NotFitted as why:
        return fit.row(term, problem=str(why))
    if not yes_or_no:
        low, high = parts.f_interval()
        return fit.row(term, parts.icc, conf_low=low, conf_high=high, conf_level=CONF_LEVEL)
    if not se > NO_STD_ERROR:
        return fit.row(term, parts.icc, problem="the patients are too alike to tell how sure it is")
    limits = np.tanh(np.arctanh(np.clip(parts.icc, -0.999999, 0.999999)) + np.array([-1, 1]) * critical_value() * se)
    interval = {"conf_low": limits[0], "conf_high": limits[1], "conf_level": CONF_LEVEL}
    return fit.row(term, parts.icc, se * (1 - parts.icc**2), **interval)
