"""First failure of a patient: who is at risk must not be chosen by what happens later."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.survival.patient import fit_survival_patient


def test_survival_of_two_implants_is_that_of_both():
    """4,000 patients with two implants that fail and fall out apart: both stand with e^(-2 t / 100).

    Following a patient on with the second implant, but only where it fails, would give 0.18 instead of 0.30 at 60.
    """
    rng = np.random.default_rng(3)
    fails, out = rng.exponential(100, 8000), rng.uniform(5, 80, 8000)
    implants = pd.DataFrame(
        {"patient_id": np.arange(8000) // 2, "months": np.minimum(fails, out), "failed": fails <= out}
    )
    rows = fit_survival_patient(implants, [12, 36, 60]).rows
    apart = (rows["estimate"] - np.exp(-2 * np.array([12, 36, 60]) / 100)) / rows["std_error"]
    assert np.abs(apart).max() < 2.6


def test_a_failure_after_another_implant_fell_out_is_counted_in_words_only():
    implants = pd.DataFrame(
        {
            "patient_id": ["p", "p", "q", "r", "r"],
            "months": [10.0, 30.0, 40.0, 20.0, 20.0],
            "failed": [False, True, False, True, False],
        }
    )
    row = fit_survival_patient(implants, [25]).rows.iloc[0]
    assert row["estimate"] == pytest.approx(1 / 2)  # p fell out at 10; r lost one of two at 20 of q and r
    assert row["n_events"] == 1
    assert row["note"] == "1 patient with a failure after that"


def test_with_one_implant_a_patient_it_is_plain_kaplan_meier():
    """Freireich's 6-MP group in print: Kleinbaum and Klein, chapter 2, group 1; 21 children, 9 relapses."""
    months = [6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    implants = pd.DataFrame(
        {"patient_id": range(21), "months": np.array(months, float), "failed": [True] * 9 + [False] * 12}
    )
    rows = fit_survival_patient(implants, [6, 10, 16, 23]).rows
    np.testing.assert_allclose(rows["estimate"], [0.8571, 0.7529, 0.6275, 0.4482], atol=0.00005)
