"""How long until a patient loses a first implant: Kaplan-Meier over patients."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.models.estimators.kaplan_meier import kaplan_meier
from liftseries.models.survival_km import survival_rows
from liftseries.models.tidy import Estimates, Fit, left_out_table, results_table

ANALYSIS = "survival.patient"
METHOD = "Kaplan-Meier over patients, first failure; a patient without one is followed until an implant first falls out"


def fit_survival_patient(implants: pd.DataFrame, months: Sequence[float]) -> Estimates:
    """Share of patients who have lost no implant, at given months.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    months : at which it is asked for

    Returns
    -------
    Estimates
        A row a month on the scale `probability`; n_events counts patients, n_sites their implants.

    Source: see `kaplan_meier`.
    """
    failed_at = implants["months"].where(implants["failed"].astype(bool))
    by_patient = implants.assign(failed_at=failed_at).groupby("patient_id", sort=False)
    first_failure, first_out = by_patient["failed_at"].min(), by_patient["months"].min()
    failed = first_failure.notna().to_numpy()
    time = np.where(failed, first_failure, first_out).astype(float)
    estimate = kaplan_meier(time, failed, np.arange(len(time)))
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="probability",
        method=METHOD,
        n_sites=len(implants),
        n_patients=len(time),
        n_events=int(failed.sum()),
    )
    rows = survival_rows(fit, months, *estimate.at(months), estimate.last_month)
    return Estimates(results_table(rows), left_out_table(ANALYSIS, "all", []))
