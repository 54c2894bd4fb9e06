"""Studies of every valid kind run to a report: no visits, one patient, nothing happened, separation, rows set aside.

A run costs as much for one site as for hundreds, so a study is of several kinds at once.
"""

from __future__ import annotations

import pandas as pd
import pytest
from frictionless import Package
from studies import cell, write_study
from whole_study.conftest import FEW, SEPARATED, changes_of_separated, in_this_process, liftseries
from whole_study.test_files_of_a_run import check_codebook, check_models, check_package, rscript, with_r
from whole_study.test_run import DERIVED_SITES, DERIVED_STEPS, RESULTS, header


def only_first_patient(table: pd.DataFrame) -> pd.DataFrame:
    """What belongs to p1 and s1."""
    for column, own in (("site_id", "s1"), ("patient_id", "p1")):
        if column in table:
            return table[table[column] == own]
    return table


# Of each: what is changed, and what its report and results must say.
KINDS = {
    "no visits, no log, no perforation, one operator, only freehand": (
        {
            "sites": lambda sites: sites.assign(
                approach="freehand", guide_offset_mm="", perforation="no", operator="o1", operator_case_no=range(1, 5)
            ),
            "steps": None,
            "visits": None,
        },
        [
            "no implant was followed",
            "There is no drilling log",
            "no site used was perforated",
            "patients is the bound that holds",
        ],
    ),
    "one patient, all censored": (
        {name: only_first_patient for name in ("patients", "sites", "steps")}
        | {"visits": lambda visits: only_first_patient(visits).assign(status="functioning", complication="none")},
        ["belong to one patient", "no implant used has failed"],
    ),
    SEPARATED: (
        changes_of_separated(),
        ["was perforated, so approach has no finite odds ratio; see perforation.firth", "set aside"],
    ),
}


@pytest.mark.parametrize("kind", KINDS)
def test_study_runs_to_a_report(tmp_path, kind, request):
    changes, words = KINDS[kind]
    if kind == SEPARATED:
        study, said = request.getfixturevalue("separated")
    else:
        study = write_study(tmp_path / "study", changes, plan=FEW)
        said = liftseries("run", study, "--quiet")
    assert (said.status, said.err) == (0, "")
    output = study / "output"
    assert header(output / "results.csv") == RESULTS
    assert header(output / "derived" / "sites.csv") == DERIVED_SITES
    assert header(output / "derived" / "steps.csv").endswith(DERIVED_STEPS)
    results = pd.read_csv(output / "results.csv")
    assert not (results["estimate"].isna() & results["problem"].isna()).any()
    assert not (results["std_error"] == 0).any()
    logs = results[results["scale"].isin(["log_odds", "log_hazard", "log_time"])]
    assert (logs["estimate"].abs().le(15) | logs["estimate"].isna() | logs["problem"].notna()).all()
    told = (output / "report.html").read_text(encoding="utf-8") + " ".join(results["problem"].dropna())
    for said_so in words:
        assert said_so in told
    assert Package(str(output / "clean" / "datapackage.json")).validate().valid
    opinions = pd.read_csv(output / "work" / "second_opinion.csv")
    assert (opinions["n_compared"].gt(0) | opinions["problem"].notna()).all()
    sites = pd.read_csv(output / "derived" / "sites.csv")
    assert sites["first_too_deep"].isna().all() == (changes.get("steps", "") is None)


def test_rows_are_set_aside_and_counted(separated):
    study, said = separated
    assert "set_aside.csv" in said.out
    aside = pd.read_csv(study / "output" / "set_aside.csv")
    counts = pd.read_csv(study / "output" / "checked" / "counts.csv")
    assert (counts["read"] == counts["kept"] + counts["set_aside"]).all()
    assert set(aside["table"]) == {"sites", "steps", "visits"}
    assert aside.loc[aside["table"] == "sites", ["row", "rule"]].values.tolist() == [[2, "lowest_is_not_above_highest"]]


def test_problems_stop_the_run_in_words(tmp_path):
    study = write_study(tmp_path / "study", {"sites": cell(2, "rbh_min_mm", "8.8")})
    said = liftseries("run", study, "--quiet")
    assert said.status == 1
    screen = said.err.splitlines()
    assert screen == in_this_process("check", study, "--quiet").out.splitlines()[: len(screen)]
    assert "1. sites.csv, row 2, rbh_min_mm  [lowest_is_not_above_highest]" in said.err
    assert "8.8 is above rbh_max_mm 6.1" in said.err
    assert not (study / "output" / "report.html").exists()


def test_codebook_data_package_and_models_are_whole(separated):
    for check in (check_codebook, check_package, check_models):
        check(separated[0] / "output")


@with_r
def test_what_has_no_estimate_is_not_refitted(separated):
    """Complete separation: no finite odds ratio to compare with, and the script says nothing of it."""
    output = separated[0] / "output"
    assert "perforation.gee" not in rscript(output / "models/refit.R", output)
