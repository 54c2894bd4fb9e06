"""How alike the sites of a patient are: intraclass correlations of what was measured, done and seen."""

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value, few_patients_df
from liftseries.estimators.mixed import mixed_reml
from liftseries.estimators.variance_components import icc_jackknife, nested_icc, one_way
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.outcomes import gain_at_visits, known_perforation
from liftseries.models.shared.results import (
    NO_STD_ERROR,
    Estimates,
    Fit,
    few_events_note,
    left_out_table,
    results_table,
)

ANALYSIS = "measurement.icc"
ONE_WAY, ONE_WAY_JACKKNIFE = "one_way", "one_way_jackknife"
OF_PATIENT, OF_SITE = "reml_patient", "reml_site"  # two sites of a patient, two visits of a site
NEAR_ONE = 1 - 1e-6


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
        Numbers have limits from F; the perforation, being yes or no, from leaving patients out, on Fisher's z. Two
        more rows of `gain_mm` take all visits: how alike two sites of a patient are, and two visits of a site.

    Source: see `one_way`, `OneWay.f_interval`, `icc_jackknife` and `nested_icc`.
    """
    gains = gain_at_visits(visits, cases, ()).sort_values("months", kind="stable")
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
    rows += _gain_rows(gains)
    return Estimates(results_table(rows), left_out_table(ANALYSIS, "all", []))


def _row(term: str, value: np.ndarray, patient: np.ndarray) -> dict:
    yes_or_no = term == "perforation"
    n_patients = len(pd.unique(patient))
    few = few_events_note(int(value.sum()), 1) if yes_or_no else []
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="ratio",
        method=ONE_WAY_JACKKNIFE if yes_or_no else ONE_WAY,
        n_sites=len(value),
        n_patients=n_patients,
        n_events=int(value.sum()) if yes_or_no else None,
        df=few_patients_df(n_patients) if yes_or_no else None,
        note=joined(*few),
    )
    try:
        parts = one_way(value, patient)
        if yes_or_no:
            if fit.n_patients < 4:
                raise NotFitted(remark("too_few_patients_to_leave_out", n_patients=fit.n_patients))
            se = icc_jackknife(value, patient)
            if not se > NO_STD_ERROR:
                raise NotFitted(remark("patients_too_alike"))
            z = np.arctanh(np.clip(parts.icc, -NEAR_ONE, NEAR_ONE))
            low, high = np.tanh(z + np.array([-1, 1]) * critical_value(fit.df) * se)
            low = max(low, parts.least)
        else:
            se, (low, high) = np.nan, parts.f_interval()
        if not low < high:
            raise NotFitted(remark("sites_too_unlike"))
    except NotFitted as why:
        return fit.row(term, problem=str(why))
    interval = {"conf_low": low, "conf_high": high, "conf_level": CONF_LEVEL}
    # At the least there can be, the way back from Fisher's z ends.
    return fit.row(term, parts.icc, se * (1 - parts.icc**2) if parts.icc > parts.least else np.nan, **interval)


def _gain_rows(gains: pd.DataFrame) -> list[dict]:
    """Correlations of the gain from all visits, which change with the months."""
    design = design_matrix(gains, ["months"])
    n_sites, n_patients = gains["site_id"].nunique(), gains["patient_id"].nunique()
    shared = {
        "analysis": ANALYSIS,
        "subset": "all",
        "scale": "ratio",
        "n_sites": n_sites,
        "n_patients": n_patients,
        "df": few_patients_df(n_patients, len(design.names)),
    }
    of_patient, of_site = (Fit(method=method, **shared) for method in (OF_PATIENT, OF_SITE))
    try:
        if len(gains) == 0:
            raise NotFitted(remark("bone_height_not_recorded"))
        if n_patients <= len(design.names):
            raise NotFitted(remark("too_few_patients", n_patients=n_patients, n_coefficients=len(design.names)))
        if n_sites == n_patients:
            raise NotFitted(remark("no_patient_with_two_sites"))
        if n_sites == len(gains):
            raise NotFitted(remark("no_site_with_two_visits"))
        patient, site = gains["patient_id"].to_numpy(), gains["site_id"].to_numpy()
        found = nested_icc(mixed_reml(gains["gain_mm"].to_numpy(float), design.matrix, patient, site))
    except NotFitted as why:
        return [fit.row("gain_mm", problem=str(why)) for fit in (of_patient, of_site)]
    return [
        _logit_row(of_patient, found.patient, found.patient_logit_se),
        _logit_row(of_site, found.site, found.site_logit_se),
    ]


def _logit_row(fit: Fit, icc: float, logit_se: float) -> dict:
    if not np.isfinite(logit_se):
        return fit.row("gain_mm", icc, problem=remark("no_variance_of_levels"))
    low, high = expit(logit(icc) + np.array([-1, 1]) * critical_value(fit.df) * logit_se)
    interval = {"conf_low": low, "conf_high": high, "conf_level": CONF_LEVEL}
    return fit.row("gain_mm", icc, icc * (1 - icc) * logit_se, **interval)
