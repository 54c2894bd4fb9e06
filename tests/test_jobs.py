"""What the workflow's scripts share."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd
import pytest

from liftseries.jobs import read_cases
from liftseries.outputs import write_csv, write_parquet


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
    cases = read_cases(inputs, SimpleNamespace(rbh_bands_mm=[4], lift_bands_mm=[3]))
    assert cases["site_id"].tolist() == site_id
    assert cases["rbh_mid_mm"].tolist() == [3, 7]
    assert cases["age_years"].tolist() == [60, 50]
    assert cases["rbh_band"].tolist() == ["<4", "≥4"]
