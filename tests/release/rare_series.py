"""Made-up series that are small, or rare in something: few patients, failures or logs, a label that few have."""

from __future__ import annotations

import made_series
import numpy as np
import pandas as pd
from release_series import Made, made_series_of

from liftseries.geometry.deviations import DEVIATIONS

OF_A_LOG = ("achieved_first_mm", "achieved_last_mm", "ended", "as_drilled", *DEVIATIONS)
SERIES = {
    "40 patients": {"n_patients": 40},
    "60 patients": {"n_patients": 60},
    "120 patients": {"n_patients": 120},
    "60 patients, no failure": {"n_patients": 60, "failures": 0},
    "60 patients, 1 failure": {"n_patients": 60, "failures": 1},
    "60 patients, 4 failures": {"n_patients": 60, "failures": 4},
    "60 patients, a protocol that one has": {"n_patients": 60, "label": ("protocol", 1)},
    "60 patients, a centre of three": {"n_patients": 60, "label": ("centre", 3)},
    "60 patients, logs of three": {"n_patients": 60, "logs": 3},
    "12 patients": {"n_patients": 12},
    "5,000 patients": {"n_patients": 5000},
}


def made(
    n_patients: int, failures: int | None = None, label: tuple[str, int] | None = None, logs: int | None = None
) -> Made:
    """A made-up series of so many failures at most, of a column's label that so many patients have, of so many logs."""
    of_cases, of_visits = made_series.made_cases, made_series.made_visits

    def cases(*options) -> pd.DataFrame:
        table = of_cases(*options)
        if label:
            few = table["patient_id"].isin(table["patient_id"].unique()[: label[1]])
            table[label[0]] = table[label[0]].astype(object).where(~few, "other")
        if logs is not None:
            without = ~table["patient_id"].isin(table["patient_id"].unique()[:logs])
            table.loc[without, [column for column in OF_A_LOG if column in table]] = pd.NA
        return table

    def visits(*options) -> pd.DataFrame:
        table = of_visits(*options)
        failed = np.flatnonzero(table["status"].eq("failed"))[failures:] if failures is not None else []
        table.loc[failed, "status"] = "functioning"
        return table

    made_series.made_cases, made_series.made_visits = cases, visits
    try:
        return made_series_of(n_patients=n_patients, seed=8)
    finally:
        made_series.made_cases, made_series.made_visits = of_cases, of_visits
