"""A mean of measurements as a row, patients as clusters, and from how many measurements on the report quotes one."""

from dataclasses import replace

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.mean import mean_of_patients
from liftseries.models.gain.at_visits import Measured
from liftseries.models.gain.recalls import AROUND_MONTHS, nearest_visits
from liftseries.models.shared.gates import FEWEST_MEASUREMENTS
from liftseries.models.shared.results import Fit

PATIENTS = "patients"


def fit_of_sites(analysis: str, sites: pd.DataFrame, scale: str, n_events: int | None = None) -> Fit:
    """What a row of these sites shares with others, one row a site."""
    return Fit(
        analysis=analysis,
        subset="all",
        scale=scale,
        method=PATIENTS,
        n_sites=len(sites),
        n_patients=sites["patient_id"].nunique(),
        n_events=n_events,
    )


def nobody_at(month: float) -> str:
    """That no site was measured around a month."""
    return remark("none_measured_around", around=AROUND_MONTHS, months=month)


def mean_at(analysis: str, measured: Measured, month: float) -> tuple[dict, list[dict]]:
    """The mean over the sites at a month, each by its nearest measurement within three months; and its design effect.

    Of sites, not of a model: a mixed model's mean weighs patients, and misses that of the sites where patients with
    many sites gain more or less (tests/benchmarks/coverage.py).

    Parameters
    ----------
    analysis : of results.csv
    measured
    month
    """
    near, term = nearest_visits(measured.visits, month), f"mean at {month:g}"
    fit = fit_of_sites(analysis, near, "mm")
    if near.empty:
        return fit.row(term, problem=nobody_at(month) if len(measured.visits) else measured.nowhere), []
    return mean_row(fit, term, near[measured.value].to_numpy(float), near["patient_id"].to_numpy())


def mean_row(fit: Fit, term: str, value: np.ndarray, patient: np.ndarray) -> tuple[dict, list[dict]]:
    """The mean with t(K - 1), the headline from five measurements on, and its design effect.

    Parameters
    ----------
    fit : what the row shares with its others; without `df`
    term
    value, patient : shape (n,), one a site
    """
    try:
        mean, std_error, df = mean_of_patients(value, patient)
    except NotFitted as why:
        return fit.row(term, problem=str(why)), []
    row = replace(fit, df=df).wald_row(term, mean, std_error, p_value=False)
    effects = fit.design_effect_rows([term], [std_error], [value.std(ddof=1) / np.sqrt(len(value))])
    return quoted(row, len(value)), effects


def quoted(row: dict, n_measurements: int) -> dict:
    """The row as the headline where it has an estimate of enough measurements; else it says that it has not."""
    if n_measurements >= FEWEST_MEASUREMENTS:
        return row | {"headline": not np.isnan(row["estimate"])}
    few = remark("below_gate_measurements", n_measurements=n_measurements)
    return row | {"note": joined(row["note"], few)}
