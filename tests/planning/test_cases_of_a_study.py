"""Cases without a run: tables, patients and geometry of a study in one table."""

import pytest
from studies import cell, write_study

from liftseries.base.errors import StudyError
from liftseries.planning.cases import read_cases
from liftseries.study.plan import read_plan


def test_a_site_has_its_patient_its_geometry_and_its_bands(tmp_path):
    """s1: rbh (5.2 + 6.1) / 2 = 5.65, protrusion 0.5 + 9 - 5.65 = 3.85; last pass 13 - 8 + 0.5 = 5.5 mm deep."""
    cases = read_cases(read_plan(write_study(tmp_path / "study"))).set_index("site_id")
    assert cases.index.tolist() == ["s1", "s2", "s3", "s4"]
    assert cases.at["s1", "rbh_mid_mm"] == pytest.approx(5.65)
    assert cases.at["s1", "protrusion_mm"] == pytest.approx(3.85)
    assert cases.at["s1", "achieved_last_mm"] == pytest.approx(5.5)
    assert cases.at["s1", "rbh_band"] == "4 to <6"
    assert cases["age_years"].tolist() == [54, 61, 61, 47]


def test_a_study_without_a_log_has_cases_too(tmp_path):
    cases = read_cases(read_plan(write_study(tmp_path / "study", {"steps": None, "visits": None})))
    assert cases["achieved_last_mm"].isna().all()
    assert cases["rbh_mid_mm"].notna().all()


def test_bad_tables_are_told(tmp_path):
    with pytest.raises(StudyError, match=r"sites\.csv, row 2, tooth"):
        read_cases(read_plan(write_study(tmp_path / "study", {"sites": cell(2, "tooth", "11")})))
