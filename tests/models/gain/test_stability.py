"""Torque and ISQ, worked by hand."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.gain.stability import fit_stability

BY = ["bone_quality", "rbh_band"]


@pytest.fixture
def cases() -> pd.DataFrame:
    """Patients a (30, 40), b (20), c (35), d (25), e without an implant, f without a torque."""
    return pd.DataFrame(
        {
            "site_id": list("tuvwxyz"),
            "patient_id": list("aabcdef"),
            "placement": ["same_day", "same_day", "staged", None, "same_day", "none", "same_day"],
            "torque_ncm": [30.0, 40.0, 20.0, 35.0, 25.0, 99.0, np.nan],
            "bone_quality": pd.array([1, 2, 2, 2, None, 2, 1], dtype="Int64"),
            "rbh_band": pd.Categorical(["<4"] * 7, ["<4", "4 to <6", "≥6"]),
        }
    )


def test_mean_sd_and_quartiles(cases):
    """20, 25, 30, 35, 40: mean 30, SD √62.5, quartiles 25, 30, 35; patients' sums 10, -10, 5, -5: 250, times 4/3."""
    rows = fit_stability(cases).rows.set_index(["analysis", "term"]).loc["stability.torque"]
    assert rows["estimate"].to_dict() == pytest.approx({"mean": 30, "sd": 62.5**0.5, "q1": 25, "median": 30, "q3": 35})
    assert rows.loc["mean", "std_error"] == pytest.approx(np.sqrt(4 / 3 * 250) / 5)
    assert rows.loc["mean", "df"] == 3
    assert rows["n_sites"].eq(5).all()
    assert rows["n_patients"].eq(4).all()
    assert rows["headline"].all()
    assert rows["scale"].eq("ncm").all()


def test_subsets_and_who_is_left_out(cases):
    estimates = fit_stability(cases, BY)
    torque = estimates.rows[estimates.rows["analysis"].eq("stability.torque") & estimates.rows["term"].eq("mean")]
    torque = torque.set_index("subset")
    assert torque["n_sites"].to_dict() == {"all": 5, "bone_quality=1": 1, "bone_quality=2": 3, "rbh_band=<4": 5}
    assert not torque.loc["bone_quality=2", "headline"]
    assert torque.loc["bone_quality=2", "note"] == "3 measurements: too few to quote"
    assert torque.loc["bone_quality=1", "problem"] == "all sites belong to one patient"
    left_out = estimates.left_out[estimates.left_out["analysis"].eq("stability.torque")]
    assert left_out[["subset", "reason", "n_sites"]].to_numpy().tolist() == [
        ["all", "no implant placed", 1], ["all", "torque_ncm missing", 1], ["bone_quality", "bone_quality unknown", 1],
    ]  # fmt: skip


def test_one_measurement_does_not_scatter(cases):
    rows = fit_stability(cases, BY).rows.query("analysis == 'stability.torque' and subset == 'bone_quality=1'")
    one = rows.set_index("term")
    assert one.loc["sd", "problem"] == "one measurement does not scatter"
    assert one.loc["median", "estimate"] == 30
    assert not one["headline"].any()


def test_what_nobody_measured_is_told_once(cases):
    rows = fit_stability(cases, BY).rows.query("analysis == 'stability.isq'")
    assert rows["subset"].eq("all").all()
    assert rows["problem"].eq("no site has it recorded").all()
    assert len(rows) == 5
