"""The jobs that every run has."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd
import pytest

from liftseries.base.outputs import write_csv, write_parquet
from liftseries.engine.job import Job
from liftseries.engine.spine import collect_results, join_cases, write_models
from liftseries.geometry.deviations import DEVIATIONS


def job(log, inputs: dict, outputs: dict, **params) -> Job:
    spaces = (SimpleNamespace(**each) for each in (inputs, outputs, params, {}))
    return Job(*spaces, log=str(log))


@pytest.mark.parametrize("site_id", [["1", "12"], ["007", "7"], ["NA", "null"], ["9007199254740993", "1e5"]])
def test_sites_keep_their_names_however_they_look(tmp_path, site_id):
    sites = pd.DataFrame({"site_id": pd.array(site_id, "string"), "patient_id": ["NA", "1"]})
    derived = pd.DataFrame(
        {"site_id": site_id, "rbh_mid_mm": [3.0, 7.0], "protrusion_mm": 4.0, "plan_problem": None}
        | dict.fromkeys([*DEVIATIONS, "ended"])
    )
    write_parquet(tmp_path / "patients.parquet", pd.DataFrame({"patient_id": ["1", "NA"], "age_years": [50, 60]}))
    write_parquet(tmp_path / "sites.parquet", sites)
    write_csv(tmp_path / "derived.csv", derived)
    inputs = {name: tmp_path / f"{name}.parquet" for name in ("patients", "sites")}
    inputs["derived"] = tmp_path / "derived.csv"
    outputs = {"cases": tmp_path / "cases.parquet"}
    join_cases(job(tmp_path / "log", inputs, outputs, rbh_bands_mm=[4], lift_bands_mm=[3]))
    cases = pd.read_parquet(tmp_path / "cases.parquet")
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


def test_results_are_collected_letter_for_letter(tmp_path):
    (tmp_path / "a.csv").write_text("term,estimate\nx,0.10\n", encoding="utf-8")
    (tmp_path / "b.csv").write_text("term,estimate\n", encoding="utf-8")
    (tmp_path / "c.csv").write_text("term,estimate\ny,1e-3\n", encoding="utf-8")
    inputs = {"estimates": [tmp_path / f"{name}.csv" for name in "abc"]}
    collect_results(job(tmp_path / "log", inputs, {"results": tmp_path / "results.csv"}))
    assert (tmp_path / "results.csv").read_text(encoding="utf-8") == "term,estimate\nx,0.10\ny,1e-3\n"


def test_where_no_purpose_refits_a_model_the_folder_of_models_is_empty(tmp_path):
    visits = pd.DataFrame({"site_id": ["s1"], "months": [12.0], "status": ["functioning"]})
    write_parquet(tmp_path / "visits.parquet", visits)
    write_parquet(tmp_path / "cases.parquet", pd.DataFrame({"site_id": ["s1"], "placement": ["same_day"]}))
    inputs = {name: tmp_path / f"{name}.parquet" for name in ("visits", "cases")}
    write_models(job(tmp_path / "log", inputs, {}, folder=str(tmp_path / "models"), models=[]))
    assert list((tmp_path / "models").iterdir()) == []
