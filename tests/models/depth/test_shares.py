"""How the drilling ended and how many were drilled as planned: shares by hand, and whom they leave out."""

import numpy as np
import pandas as pd
import pytest

from liftseries.geometry.deviations import DEVIATIONS, ENDED
from liftseries.models.depth.shares import fit_depth_adherence, fit_depth_deviations, fit_depth_ended
from liftseries.models.shared.cases import as_drilled


def of_ended(ended, patient, **depths):
    depths = {"achieved_last_mm": 6.0, "planned_last_mm": 6.0, **depths}
    return fit_depth_ended(pd.DataFrame({"ended": pd.Categorical(ended, ENDED), "patient_id": patient, **depths}))


def test_shares_of_all_that_is_known_sum_to_one():
    """Of four sites two ended at plan, one each opened before and deeper, none short; of a fifth nobody can tell."""
    estimates = of_ended(["at_plan", "at_plan", "opened_before", "deeper", None], range(5))
    rows = estimates.rows.set_index("term")
    assert rows["estimate"].tolist() == pytest.approx([1 / 2, 1 / 4, 1 / 4, 0])
    assert rows["n_events"].tolist() == [2, 1, 1, 0]
    assert rows["headline"].all()
    assert estimates.left_out["reason"].tolist() == ["ended unknown"]


def test_the_interval_is_that_of_the_patients():
    """Which interval it is hangs on the number of patients on either side."""
    rows = of_ended(["at_plan", "at_plan", "short", "short"], ["p", "p", "q", "r"]).rows.set_index("term")
    # Sums 2 - 1 = 1, 0 - 0.5, 0 - 0.5; patients with the event 1: the exact interval of 1 in 3.
    assert rows.loc["at_plan", "note"] != ""
    rows = of_ended(["at_plan", "at_plan", "at_plan", "short", "short", "short"], list("ppqqrr")).rows.set_index("term")
    # Sums 1, 0, -1; two patients with the event, two with the other: SE² = 2/1 · 2 / 36.
    assert rows.loc["at_plan", "std_error"] == pytest.approx(np.sqrt(2 * 2 / 36))
    assert rows.loc["at_plan", "df"] == 2


def test_who_is_left_out_stands_under_one_reason():
    """No log, no plan, neither known open nor closed: 1 site each."""
    estimates = of_ended(
        [None, None, None, "at_plan", "deeper"],
        range(5),
        achieved_last_mm=[np.nan, 5.0, 5.0, 6.0, 7.0],
        planned_last_mm=[6.0, np.nan, 6.0, 6.0, 6.0],
    )
    assert estimates.left_out["n_sites"].tolist() == [1, 1, 1]
    assert estimates.rows["n_sites"].tolist() == [2] * 4


# ── drilled as planned ────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("flags", "expected"),
    [
        ({}, "plan"),
        (
            {"probe_mismatch": None, "speed_high": None, "not_probed": None},
            "plan",
        ),  # what cannot be judged does not count
        ({"speed_high": True}, "not_plan"),
        ({"probe_mismatch": None, "overdrilled": True}, "not_plan"),
        ({"first_too_deep": None}, None),
        ({"advance_too_large": None, "overdrilled": True}, None),
        (dict.fromkeys(DEVIATIONS), None),
    ],
)
def test_drilled_as_planned(flags, expected):
    table = pd.DataFrame({name: pd.array([flags.get(name, False)], dtype="boolean") for name in DEVIATIONS})
    (kept,) = as_drilled(table)
    assert kept == expected if expected else pd.isna(kept)


def test_adherence_counts_those_that_can_be_judged_by_approach():
    cases = pd.DataFrame(
        {
            "as_drilled": pd.Categorical(["plan", "not_plan", "plan", None], ["plan", "not_plan"]),
            "approach": pd.Categorical(["guided", "guided", "freehand", "freehand"]),
            "patient_id": list("pqrs"),
        }
    )
    estimates = fit_depth_adherence(cases, ["approach"])
    rows = estimates.rows.set_index("subset")
    assert rows["n_events"].to_dict() == {"all": 2, "approach=freehand": 1, "approach=guided": 1}
    assert rows["n_sites"].to_dict() == {"all": 3, "approach=freehand": 1, "approach=guided": 2}
    assert rows.loc["all", "estimate"] == pytest.approx(2 / 3)
    assert "one patient" in rows.loc["approach=freehand", "problem"]
    assert estimates.left_out.set_index("subset")["n_sites"].to_dict() == {"all": 1, "approach=freehand": 1}


def test_deviations_count_those_that_can_be_judged_and_those_that_cannot():
    """Of five sites one has no log; the speed is recorded at three of the four others, too high at one."""
    flags = {name: [False, False, False, False, None] for name in DEVIATIONS}
    flags |= {"speed_high": [True, False, False, None, None], "probe_mismatch": [None] * 5}
    flags = {name: pd.array(values, dtype="boolean") for name, values in flags.items()}
    cases = pd.DataFrame({**flags, "patient_id": list("pqrst")})
    estimates = fit_depth_deviations(cases)
    rows = estimates.rows.set_index("term")
    counts = ["n_events", "n_sites"]
    assert rows.loc["speed_high", counts].tolist() == [1, 3]
    assert rows.loc["speed_high not judged", counts].tolist() == [1, 4]
    assert rows.loc["probe_mismatch not judged", counts].tolist() == [4, 4]
    assert rows.loc["probe_mismatch", "n_sites"] == 0
    assert pd.isna(rows.loc["probe_mismatch", "estimate"])
    assert not rows.loc["probe_mismatch", "headline"]
    assert estimates.left_out[["reason", "n_sites"]].values.tolist() == [["no drilling log", 1]]
