"""`check` as people and scripts use it: streams, lists, JSON, and what it says last."""

from __future__ import annotations

import csv
import json
import subprocess
import sys

import jsonschema
import openpyxl
import pytest
import yaml
from studies import cell, cells, write_study

from liftseries.base import progress
from liftseries.base.home import folder
from liftseries.cli import main

FAULTS = {
    "sites": cells((2, "tooth", "11"), (5, "septum", "ja"), (3, "graft", "quernstone")),
    "patients": cell(3, "age_years", "7"),
}


@pytest.fixture
def study(tmp_path):
    return write_study(tmp_path / "study", FAULTS)


def test_problems_are_what_was_asked_and_stand_on_standard_output(study, capsys):
    assert main(["check", str(study), "--quiet"]) == 1
    said = capsys.readouterr()
    assert said.err == ""
    assert said.out.startswith("4 problems of 4 causes")
    assert "patients.csv, row 3, age_years  [value_is_in_range]" in said.out
    assert said.out.splitlines()[-1].startswith("Next: ")


def test_reader_may_close_before_the_end(study):
    """As `check | head -0` does: no traceback, nothing of Python's own words on its streams."""
    call = [sys.executable, "-u", "-m", "liftseries.cli", "check", str(study), "--quiet"]
    process = subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    process.stdout.close()
    assert process.stderr.read() == b""
    assert process.wait() == 1


def test_plan_that_cannot_be_read_is_told_there_too(study, capsys):
    (study / "study.yaml").write_text("tabels: {}\n", encoding="utf-8")
    assert main(["check", str(study)]) == 1
    said = capsys.readouterr()
    assert said.err == ""
    assert '"tabels" is not a known key' in said.out
    assert main(["check", str(study), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["causes"][0]["rule"] == "plan_is_valid"


@pytest.mark.parametrize("changes", [FAULTS, {}, {"stops": cell(2, "stop_id", "")}])
def test_json_is_as_it_is_described(tmp_path, changes, capsys):
    described = yaml.safe_load((folder("schemas") / "check_json.yaml").read_text(encoding="utf-8"))
    status = main(["check", str(write_study(tmp_path / "study", changes, ending="xlsx")), "--json"])
    told = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(described).validate(told)
    assert told["status"] == status == bool(changes)
    assert told["problems"] == sum(cause["count"] for cause in told["causes"])


ODD = {"sites": cell(2, "torque_ncm", "95"), "visits": cell(4, "marginal_bone_mm", "6")}


def as_json(folder_of, capsys, changes, plan=""):
    main(["check", str(write_study(folder_of, changes, plan=plan)), "--json"])
    told = json.loads(capsys.readouterr().out)
    described = yaml.safe_load((folder("schemas") / "check_json.yaml").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(described).validate(told)
    return told


def test_json_lists_what_is_odd_and_changes_no_status(tmp_path, capsys):
    plain, odd = as_json(tmp_path / "plain", capsys, {}), as_json(tmp_path / "odd", capsys, ODD)
    assert plain["status"] == odd["status"] == 0
    before = {cause["rule"] for cause in plain["oddities"]}
    (torque,) = (cause for cause in odd["oddities"] if cause["rule"] == "torque_high")
    assert "torque_high" not in before
    assert (torque["file"], torque["column"], torque["count"], torque["accepted"]) == (
        "sites.csv",
        "torque_ncm",
        1,
        False,
    )
    assert torque["told"][0]["places"] == ["sites.csv, row 2, torque_ncm"]
    assert "80" in torque["threshold"]


def test_json_tells_accepted_oddities_apart_and_keys_that_fit_none(tmp_path, capsys):
    accepted = "accepted_oddities: [{rule: torque_high, keys: [s1, s99], why: seen, by: dm1, date: 2025-03-04}]"
    told = as_json(tmp_path / "study", capsys, ODD, accepted)
    assert [cause["accepted"] for cause in told["oddities"] if cause["rule"] == "torque_high"] == [True]
    assert told["accepted_keys_without_an_oddity"] == {"torque_high": 1}


def test_list_has_a_sheet_a_centre_and_no_text_of_a_cell(study, tmp_path, capsys):
    book, table = tmp_path / "problems.xlsx", tmp_path / "problems.csv"
    assert main(["check", str(study), "--list", str(book), "--list", str(table)]) == 1
    assert f"Made {book}, {table}." in capsys.readouterr().out
    sheets = {sheet.title: list(sheet.iter_rows(values_only=True)) for sheet in openpyxl.load_workbook(book)}
    rows = {title: [(line[0], line[1], line[2]) for line in lines[1:]] for title, lines in sheets.items()}
    assert rows == {
        "north": [("patients.csv", 3, "age_years"), ("sites.csv", 2, "tooth"), ("sites.csv", 3, "graft")],
        "south": [("sites.csv", 5, "septum")],
    }
    assert "quernstone" not in table.read_text(encoding="utf-8") + str(sheets)
    with table.open(encoding="utf-8", newline="") as file:
        assert [line["centre"] for line in csv.DictReader(file)] == ["north", "north", "north", "south"]


def test_centres_with_names_that_no_sheet_may_have(tmp_path):
    names = ["a/b: [c]*", "A b   c", "x" * 40]
    changes = {"patients": lambda patients: patients.assign(centre=names, age_years="7")}
    book = tmp_path / "problems.xlsx"
    main(["check", str(write_study(tmp_path / "study", changes)), "--list", str(book)])
    titles = openpyxl.load_workbook(book).sheetnames
    assert len({title.casefold() for title in titles}) == 3


@pytest.mark.parametrize("name", ["study/patients.csv", "problems.ods"])
def test_list_goes_over_no_file_of_the_study(study, tmp_path, name, capsys):
    before = (study / "patients.csv").read_bytes()
    assert main(["check", str(study), "--list", str(tmp_path / name)]) == 2
    assert (study / "patients.csv").read_bytes() == before


def test_decisions_are_told_by_rule_with_count_and_places(tmp_path, capsys):
    folder = write_study(tmp_path / "study", ending="xlsx")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    book["visits"].merge_cells("A2:A4")
    book["stops"].sheet_state = "hidden"
    book.save(folder / "study.xlsx")
    assert main(["check", str(folder)]) == 0
    told = capsys.readouterr().out
    assert "2 × a merged cell" in told
    assert "sheet visits, cell A3" in told
    assert "[hidden_sheet_is_named]" in told
    assert told.splitlines()[-1] == f"No problem found. Next: liftseries run {folder}"


@pytest.mark.parametrize(("words", "tells"), [([], True), (["--quiet"], False)])
def test_work_that_lasts_says_which_step_it_is_in(study, capsys, monkeypatch, words, tells):
    monkeypatch.setattr(progress, "PATIENCE_S", 0.0)
    main(["check", str(study), *words])
    assert ("Reading and checking the tables" in capsys.readouterr().err) == tells
