"""Reverse Kaplan-Meier and failures per implant-year against R's survfit and geeglm (follow_up.R)."""

import numpy as np
import pytest

from liftseries.estimators.incidence import incidence_of_patients
from liftseries.models.survival.time_observed import fit_followup_time


@pytest.fixture(scope="module")
def implants(series):
    status = series["status"]
    return series.assign(months=series["time_months"].astype(float), failed=status == 1, died=status == 2)


def test_median_and_quartiles_of_the_follow_up(implants, r_rows):
    """Only the limits need the clustering; survfit takes them from the same log-log band."""
    rows = fit_followup_time(implants).rows.set_index("term").loc[["q1", "median", "q3"]]
    ours = rows[["estimate", "conf_low", "conf_high"]].to_numpy(float)
    np.testing.assert_array_equal(ours, r_rows("follow_up", "reverse")[["value", "lower", "upper"]].to_numpy(float))


def test_failures_per_implant_year(implants, r_rows):
    """R's robust error of the log rate times m / (m - 1), m the patients with a failure."""
    r = r_rows("follow_up", "rate")
    m = r.loc["patients with a failure", "value"]
    found = incidence_of_patients(implants["failed"], implants["months"] / 12, implants["patient_id"])
    assert np.log(found.estimate) == pytest.approx(r.loc["log", "value"], rel=1e-8)
    of_log = found.std_error / found.estimate
    assert of_log == pytest.approx(r.loc["log", "se"] * np.sqrt(m / (m - 1)), rel=1e-6)
