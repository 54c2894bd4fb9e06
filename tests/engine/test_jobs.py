"""What the workflow's scripts share."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd
import pytest

from liftseries.base.outputs import write_csv, write_parquet
from liftseries.engine.job import joined_cases, read_chunks, write_estimates
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table


@pytest.mark.parametrize("site_id", [["1", "12"], ["007", "7"], ["NA", "null"], ["9007199254740993", "1e5"]])
def test_sites_keep_their_names_however_they_look(tmp_path, site_id):
    sites = pd.DataFrame({"site_id": pd.array(site_id, "string"), "patient_id": ["NA", "1"]})
    derived = pd.DataFrame({"site_id": site_id, "rbh_mid_mm": [3.0, 7.0], "protrusion_mm": 4.0, "plan_problem": None})
    write_parquet(tmp_path / "patients.parquet", pd.DataFrame({"patient_id": ["1", "NA"], "age_years": [50, 60]}))
    write_parquet(tmp_path / "sites.parquet", sites)
    write_csv(tmp_path / "derived.csv", derived)
    inputs = SimpleNamespace(
        patients=tmp_path / "patients.parquet", sites=tmp_path / "sites.parquet", derived=tmp_path / "derived.csv"
    )
    cases = joined_cases(inputs, SimpleNamespace(rbh_bands_mm=[4], lift_bands_mm=[3]))
    assert cases["site_id"].tolist() == site_id
    assert cases["rbh_mid_mm"].tolist() == [3, 7]
    assert cases["age_years"].tolist() == [60, 50]
    assert cases["rbh_band"].tolist() == ["<4", "≥4"]


def test_cases_are_the_same_after_a_stay_on_disk(tmp_path):
    """Every question starts from the stored cases: categories, their order, true/false and empty cells must survive."""
    table = pd.DataFrame(
        {
            "site_id": ["NA", "007"],
            "rbh_band": pd.Categorical(["≥4", None], categories=["<4", "≥4"], ordered=True),
            "graft": pd.Categorical(["none", "none"], categories=["none", "xenograft", "unknown"]),
            "overdrilled": pd.array([True, None], "boolean"),
            "age_years": pd.array([50, None], "Int64"),
            "protocol": pd.array(["A", None], "string"),
        }
    )
    write_parquet(tmp_path / "cases.parquet", table)
    pd.testing.assert_frame_equal(pd.read_parquet(tmp_path / "cases.parquet"), table)


def test_design_effects_stand_below_their_estimates(tmp_path):
    fit = Fit("perforation.gee", "all", "log_odds", "GEE", 9, 5, 2)
    rows, effects = [fit.wald_row("a", 1.0, 0.5)], [fit.design_effect_row("a", 0.5, 0.25)]
    left_out = left_out_table("perforation.gee", "all", [])
    estimates = Estimates(results_table(rows), left_out, design_effects=results_table(effects))
    output = SimpleNamespace(estimates=tmp_path / "e.csv", left_out=tmp_path / "l.csv")
    write_estimates(output, estimates)
    written = pd.read_csv(output.estimates)
    assert written["analysis"].tolist() == ["perforation.gee", "clustering.design_effect"]
    assert written["term"].tolist() == ["a", "perforation.gee a"]
    assert written["estimate"].tolist() == [1, 4]


def test_chunks_are_read_in_order(tmp_path):
    for k in (0, 1):
        write_csv(tmp_path / f"{k}.csv", pd.DataFrame({"replicate": [2 * k, 2 * k + 1]}))
    assert read_chunks([tmp_path / "0.csv", tmp_path / "1.csv"])["replicate"].tolist() == [0, 1, 2, 3]
