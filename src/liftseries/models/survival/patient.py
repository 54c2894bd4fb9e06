"""How long until a patient loses a first implant: Kaplan-Meier over patients.

A patient is followed for as long as all their implants are. To go on with those that are left, but only where one of
them fails later, would choose who is at risk by what happens to them, and make losses look more frequent.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.kaplan_meier import kaplan_meier
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table
from liftseries.models.survival.km import METHOD, survival_rows

ANALYSIS = "survival.patient"


def fit_survival_patient(implants: pd.DataFrame, months: Sequence[float]) -> Estimates:
    """Share of patients who have lost no implant, at given months.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    months : at which it is asked for

    Returns
    -------
    Estimates
        A row a month on the scale `probability`; n_events counts patients, n_sites their implants. Who lost an implant
        after another had fallen out is no event; `note` counts them.

    Source: see `kaplan_meier`.
    """
    patients = first_failures(implants)
    time, failed = patients["months"].to_numpy(float), patients["failed"].to_numpy(bool)
    n_later = int((patients["first_failure"].notna().to_numpy() & ~failed).sum())
    estimate = kaplan_meier(time, failed, np.arange(len(time)))
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="probability",
        method=METHOD,
        n_sites=len(implants),
        n_patients=len(time),
        n_events=int(failed.sum()),
        note=remark("failure_after_fallen_out", n_patients=n_later) if n_later else "",
    )
    rows = survival_rows(fit, months, *estimate.at(months), estimate.last_month)
    return Estimates(results_table(rows), left_out_table(ANALYSIS, "all", []))


def first_failures(implants: pd.DataFrame) -> pd.DataFrame:
    """One row a patient, by `patient_id`, in the order in which they occur.

    Returns
    -------
    `months, first_failure, failed`
        Months until the first of a patient's implants fell out, those until one failed (NaN where none did), and
        whether the first to fall out failed.
    """
    failed_at = implants["months"].where(implants["failed"].astype(bool))
    by_patient = implants.assign(failed_at=failed_at).groupby("patient_id", sort=False, observed=True)
    months, first_failure = by_patient["months"].min().astype(float), by_patient["failed_at"].min().astype(float)
    return pd.DataFrame({"months": months, "first_failure": first_failure, "failed": first_failure == months})
