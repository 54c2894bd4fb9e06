"""Months in function: where a mean or a difference may have an interval, and how wide few patients make it."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.survival.rmst import fit_survival_rmst

T_OF_8 = 2.306004135204166  # R: qt(0.975, 8)


def implants(months, failed, patients, approach=None):
    table = pd.DataFrame({"patient_id": list(patients), "months": np.asarray(months, float), "failed": failed})
    return table.assign(approach="freehand" if approach is None else approach)


def test_few_patients_widen_the_interval_by_t():
    """Nine patients, one failure at 12 of a horizon of 36: 24 / 9 months lost on average, interval on their log."""
    row = fit_survival_rmst(implants([12.0] + [40.0] * 8, [True] + [False] * 8, range(9)), [36]).rows.iloc[0]
    lost = 24 / 9
    se = 24 * np.sqrt(8 / 9) / 9  # that of a mean of nine, 24 once and 0 else, divided by n
    assert row["estimate"] == pytest.approx(36 - lost)
    assert row["std_error"] == pytest.approx(se)
    assert row["df"] == 8
    assert row["conf_high"] == pytest.approx(36 - lost * np.exp(-T_OF_8 * se / lost))
    assert "t(K - 1)" in row["note"]


def test_a_failure_found_at_the_horizon_costs_no_month():
    row = fit_survival_rmst(implants([12, 24, 24], [True, False, False], "abc"), [12]).rows.iloc[0]
    assert row["estimate"] == 12
    assert "before then" in row["problem"]
    assert np.isnan(row["std_error"])


def test_a_level_without_a_failure_leaves_the_difference_without_an_interval():
    months, failed = [12, 30, 40, 40, 40, 40], [True, True, False, False, False, False]
    table = implants(months, failed, "abcdef", ["freehand"] * 3 + ["guided"] * 3)
    rows = fit_survival_rmst(table, [36], ["approach"]).rows.set_index("analysis")
    row = rows.loc["survival.rmst_difference"]
    assert row["estimate"] == pytest.approx(36 - (12 + 30 + 36) / 3)
    assert np.isnan(row["std_error"])
    assert "approach = guided: no implant has failed before then" in row["problem"]


def test_a_level_of_one_patient_leaves_the_difference_without_an_interval():
    """A patient alone has no variance to see; the difference itself stands."""
    months, failed = [12, 30, 40, 20, 40, 40], [True, True, False, True, False, False]
    table = implants(months, failed, "abcddd", ["freehand"] * 3 + ["guided"] * 3)
    row = fit_survival_rmst(table, [36], ["approach"]).rows.iloc[-1]
    assert row["estimate"] == pytest.approx((20 + 36 + 36) / 3 - (12 + 30 + 36) / 3)
    assert row["problem"].startswith("approach = guided: all implants belong to one patient")


def test_a_horizon_beyond_one_level_names_its_last_visit():
    table = implants([12, 40, 20, 24], [True, False, True, False], "abcd", ["freehand"] * 2 + ["guided"] * 2)
    rows = fit_survival_rmst(table, [36], ["approach"]).rows
    beyond = rows[rows["subset"] == "approach=guided"]
    assert beyond["analysis"].tolist() == ["survival.rmst"] * 2 + ["survival.rmst_difference"]
    assert beyond["estimate"].isna().all()
    assert beyond["problem"].eq("the last follow-up ends at 24 months").all()


def test_implants_that_share_a_patient_exactly_cost_their_whole_number():
    """Every implant twice in the same patient: twice the variance of independent ones."""
    one = implants([12, 30, 40, 40], [True, True, False, False], "abcd")
    effects = fit_survival_rmst(pd.concat([one, one], ignore_index=True), [36]).design_effects
    assert effects["estimate"].tolist() == pytest.approx([2])
