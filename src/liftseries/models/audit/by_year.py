"""Tears year by year: each year's rate, each year against all earlier ones, and the trend. Every year counts."""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value, few_patients_df, two_sided_p
from liftseries.estimators.patients_left_out import jackknife_covariance
from liftseries.models.audit.units import ONE_VIEW
from liftseries.models.perforation.firth import penalised
from liftseries.models.shared.complete_cases import perforation_data
from liftseries.models.shared.outcomes import PERFORATION_UNKNOWN, known_perforation
from liftseries.models.shared.penalised import grouped_note, jackknife_rows, profile_rows, wider_rows
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, left_out_table, results_table
from liftseries.models.shared.share_rows import share_row

ANALYSIS = "audit.year"
PATIENTS, TREND = "patients", "profile_or_jackknife"
YEAR = "surgery_year"
RATE, DIFFERENCE = "rate", "difference"
FEWEST_EVENT_PATIENTS = 2


def fit_audit_year(cases: pd.DataFrame) -> Estimates:
    """The rate of each year of surgery, its difference from all earlier years, and the log odds a year.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it

    Returns
    -------
    Estimates
        Subset `surgery_year=2024`: `rate`, and `difference` from the earlier years pooled; subset `all`:
        `surgery_year`, log odds a year by Firth's model, the wider of profile and patients' jackknife.

    Source: `share_of_patients`; see `difference_row`, `firth_logistic`.
    """
    known, perforated = known_perforation(cases)
    year = cases[YEAR].to_numpy(float, na_value=np.nan) if YEAR in cases else np.full(len(cases), np.nan)
    used = known & np.isfinite(year)
    event, patient, year = perforated[used], cases["patient_id"].to_numpy()[used], year[used]
    left = [
        (PERFORATION_UNKNOWN, int((~known).sum())),
        (remark("number_missing", column=YEAR), int((known & ~used).sum())),
    ]
    gate = remark("below_gate_audit", n_events=int(event.sum())) if event.sum() < ONE_VIEW else ""
    rows, effects = [], []
    for one in np.unique(year):
        here, before = year == one, year < one
        fit = _fit(f"{YEAR}={one:g}", "risk", event[here], patient[here])
        if gate:
            rows.append(fit.row(RATE, problem=gate))
        else:
            told, effect = share_row(fit, RATE, event[here], patient[here])
            rows.append(told)
            effects += effect
        both = here | before
        change = _fit(fit.subset, "risk_difference", event[both], patient[both])
        why = gate or ("" if before.any() else remark("first_year_seen"))
        rows.append(difference_row(change, event[both], patient[both], here[both], why))
    rows.append(_trend_row(cases.loc[used], event, gate))
    return Estimates(results_table(rows), left_out_table(ANALYSIS, "all", left), design_effects=results_table(effects))


def _fit(subset: str, scale: str, event: np.ndarray, patient: np.ndarray) -> Fit:
    return Fit(ANALYSIS, subset, scale, PATIENTS, len(event), len(pd.unique(patient)), int(event.sum()))


def difference_row(fit: Fit, event: np.ndarray, patient: np.ndarray, now: np.ndarray, why: str = "") -> dict:
    """The share now less the share before, patients as clusters.

        variance = m / (m - 1) Σ_k ((x_k1 - n_k1 p_1) / n_1 - (x_k0 - n_k0 p_0) / n_0)²

    with m the smaller of the numbers of patients with a tear on the two sides; t with the patients less one.

    Parameters
    ----------
    fit
    event, patient, now : shape (n,); whether the site is of now
    why : why there is none, where that is known already

    Source: the linearised difference of ratios, Cochran 1977, section 6.3 (from memory); m as in `share_of_patients`.
    """
    sides = [len(pd.unique(patient[event & side])) for side in (now, ~now)]
    if not why and min(sides) < FEWEST_EVENT_PATIENTS:
        why = remark("event_patients_few")
    if why:
        return fit.row(DIFFERENCE, problem=why)
    shares = [float(event[side].mean()) for side in (now, ~now)]
    part = np.where(now, (event - shares[0]) / now.sum(), -(event - shares[1]) / (~now).sum())
    codes, k = cluster_codes(patient)
    m = min(sides)
    std_error = float(np.sqrt(m / (m - 1) * (np.bincount(codes, part, k) ** 2).sum()))
    difference = shares[0] - shares[1]
    if not std_error > NO_STD_ERROR:
        return fit.row(DIFFERENCE, problem=ZERO_STD_ERROR)
    half = critical_value(k - 1) * std_error
    return fit.row(
        DIFFERENCE,
        difference,
        std_error,
        conf_low=difference - half,
        conf_high=difference + half,
        conf_level=CONF_LEVEL,
        p_value=two_sided_p(difference / std_error, k - 1),
        df=k - 1,
        headline=True,
    )


def _trend_row(table: pd.DataFrame, event: np.ndarray, gate: str) -> dict:
    """Log odds a year, the wider of profile and jackknife over patients."""
    patient = table["patient_id"].to_numpy()
    n_patients = len(pd.unique(patient))
    counts = (len(event), n_patients, int(event.sum()))
    fit = Fit(ANALYSIS, "all", "log_odds", TREND, *counts, note=grouped_note(n_patients))
    if gate or not len(event):
        return fit.row(YEAR, problem=gate or remark("perforation_not_recorded"))
    # From the mean year, so that the intercept is one of the sites seen; the slope is the same.
    numbers = table[YEAR].to_numpy(float)
    data = perforation_data(table.assign(**{YEAR: numbers - np.round(numbers.mean())}), [YEAR])
    if YEAR not in data.design.names:
        return fit.row(YEAR, problem=remark("one_year"))
    fit = Fit(ANALYSIS, "all", "log_odds", TREND, *counts, few_patients_df(n_patients, 2), fit.note)
    try:
        model = penalised(data)
    except NotFitted as why:
        return fit.row(YEAR, problem=str(why))
    if model.why_no_refits:
        return fit.row(YEAR, model.fit.coefficients[1], problem=model.why_no_refits)
    names, errors = data.design.names, np.sqrt(np.diag(jackknife_covariance(model.refits)))
    by_profile = profile_rows(fit, names, model.fit)
    by_jackknife = jackknife_rows(fit, names, model.fit.coefficients, errors)
    return wider_rows(fit, by_profile, by_jackknife)[1]
