"""A mean of measurements as a row, patients as clusters, and from how many measurements on the report quotes one."""

from dataclasses import replace

import numpy as np

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.mean import mean_of_patients
from liftseries.models.shared.gates import FEWEST_MEASUREMENTS
from liftseries.models.shared.results import Fit

PATIENTS = "patients"


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
