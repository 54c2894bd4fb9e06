"""Studies of every valid kind run to a report: without visits or log, one patient, no perforation, rows set aside."""

from __future__ import annotations

import pandas as pd
import pytest
from studies import cell, write_study
from whole_study.conftest import liftseries
from whole_study.test_run import DERIVED_SITES, DERIVED_STEPS, RESULTS, header


def only_first_patient(table: pd.DataFrame) -> pd.DataFrame:
    """What belongs to p1 and s1."""
    for column, own in (("site_id", "s1"), ("patient_id", "p1")):
        if column in table:
            return table[table[column] == own]
    return table


KINDS = {
    "no visits": {"visits": None},
    "no log": {"steps": None},
    "one patient": {name: only_first_patient for name in ("patients", "sites", "steps", "visits")},
    "no perforation": {"sites": lambda sites: sites.assign(perforation="no")},
    "only freehand": {
        "sites": lambda sites: sites.assign(approach="freehand", guide_offset_mm=""),
        "steps": None,
        "visits": lambda visits: visits.assign(status="functioning", complication="none"),
    },
}


@pytest.mark.parametrize("kind", KINDS)
def test_study_runs_to_a_report(tmp_path, kind):
    study = write_study(tmp_path / "study", KINDS[kind])
    said = liftseries("run", study)
    assert (said.status, said.err) == (0, "")
    output = study / "output"
    assert header(output / "results.csv") == RESULTS
    assert header(output / "derived" / "sites.csv") == DERIVED_SITES
    assert header(output / "derived" / "steps.csv").endswith(DERIVED_STEPS)
    results = pd.read_csv(output / "results.csv")
    assert not (results["estimate"].isna() & results["problem"].isna()).any()
    assert not (results["std_error"] == 0).any()
    assert (output / "report.html").is_file()
    sites = pd.read_csv(output / "derived" / "sites.csv")
    assert sites["first_too_deep"].isna().all() == (KINDS[kind].get("steps", "") is None)


def test_rows_are_set_aside_and_counted(tmp_path):
    study = write_study(tmp_path / "study", {"sites": cell(2, "rbh_min_mm", "8.8")}, plan="invalid_rows: set_aside")
    said = liftseries("run", study)
    assert said.status == 0
    assert "set_aside.csv" in said.out
    aside = pd.read_csv(study / "output" / "set_aside.csv")
    counts = pd.read_csv(study / "output" / "checked" / "counts.csv")
    assert (counts["read"] == counts["kept"] + counts["set_aside"]).all()
    assert set(aside["table"]) == {"sites", "steps", "visits"}
    assert aside.loc[aside["table"] == "sites", ["row", "rule"]].values.tolist() == [[2, "lowest_is_not_above_highest"]]
    assert "set aside" in (study / "output" / "report.html").read_text(encoding="utf-8")


def test_problems_stop_the_run_in_words(tmp_path):
    study = write_study(tmp_path / "study", {"sites": cell(2, "rbh_min_mm", "8.8")})
    said = liftseries("run", study)
    assert said.status == 1
    assert said.err.startswith("sites.csv, row 2, rbh_min_mm: 8.8 is above rbh_max_mm 6.1.")
    assert said.err.count("\n") == 1
    assert not (study / "output" / "report.html").exists()
    write_study(study)
    assert liftseries("run", study).status == 0
