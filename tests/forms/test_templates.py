"""A folder to start from: its plan reads back with the defaults, its tables name every column."""

from __future__ import annotations

import re

import openpyxl
import pytest
from studies import tables, write_study

from liftseries.base.errors import UsageError
from liftseries.cli import main
from liftseries.forms.templates import new_study
from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan
from liftseries.study.plan_shape import plan_schema
from liftseries.study.schema import read_schema


def test_plan_reads_back_and_explains_its_keys(tmp_path):
    new_study(tmp_path / "mine")
    plan = read_plan(tmp_path / "mine")
    assert set(plan.tables) == set(read_schema())
    (tmp_path / "bare.yaml").write_text("tables: {patients: p.csv, sites: s.csv, instruments: i.csv, stops: t.csv}\n")
    defaults = dict(read_plan(tmp_path / "bare.yaml").as_written)
    assert {**plan.as_written, "tables": None} == {**defaults, "tables": None}
    words = (tmp_path / "mine" / "study.yaml").read_text(encoding="utf-8")
    assert "first_depth_margin_mm" in words
    assert "How far a pass may advance" in words


def test_tables_have_all_columns_and_only_want_rows(tmp_path):
    new_study(tmp_path / "mine")
    for name, table in read_schema().items():
        header = (tmp_path / "mine" / f"{name}.csv").read_text(encoding="utf-8").strip()
        assert header.split(",") == list(table.columns)
    _, problems = check_study(read_plan(tmp_path / "mine"))
    assert [str(problem).split(":")[0] for problem in problems] == ["patients.csv", "sites.csv"]
    assert all("holds no rows" in str(problem) for problem in problems)


def test_filled_in_the_tables_are_a_study(tmp_path):
    """Under the headers as they are, rows of the made-up study."""
    new_study(tmp_path / "mine")
    for name, rows in tables().items():
        path = tmp_path / "mine" / f"{name}.csv"
        header = path.read_text(encoding="utf-8").strip().split(",")
        rows.reindex(columns=header).to_csv(path, index=False)
    assert check_study(read_plan(tmp_path / "mine"))[1] == []


def test_every_key_of_the_plan_stands_below_its_meaning(tmp_path):
    new_study(tmp_path / "mine")
    lines = (tmp_path / "mine" / "study.yaml").read_text(encoding="utf-8").splitlines()
    for key, entry in plan_schema()["properties"]["plan"]["properties"].items():
        at = next(number for number, line in enumerate(lines) if line.startswith(f"  {key}:"))
        assert lines[at - 1].strip() == f"# {entry['description']}"


def test_dictionary_is_there_and_opens_offline(tmp_path):
    new_study(tmp_path / "mine")
    page = (tmp_path / "mine" / "dictionary.html").read_text(encoding="utf-8")
    assert "rbh_min_mm" in page
    assert not re.search(r"https?://|<script|<link|src=", page)


def test_folder_that_cannot_be_made_is_told_without_a_traceback(tmp_path):
    (tmp_path / "file").write_text("")
    for folder in (tmp_path / "file", tmp_path / "file" / "mine"):
        with pytest.raises(UsageError, match="Name another one"):
            new_study(folder)


def test_nothing_is_overwritten(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(UsageError, match="not an empty folder"):
        new_study(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_workbook_takes_the_place_of_the_csv_files(tmp_path):
    assert main(["new", str(tmp_path / "mine"), "--workbook"]) == 0
    assert {path.name for path in (tmp_path / "mine").iterdir()} == {
        "study.yaml", "cases.xlsx", "datapackage.json", "dictionary.html", "dictionary.docx",
    }  # fmt: skip
    plan = read_plan(tmp_path / "mine")
    assert {name: sources[0].label for name, sources in plan.tables.items()} == {
        name: f"cases.xlsx#{name}" for name in read_schema()
    }
    _, problems = check_study(plan)
    assert [str(problem).split(":")[0] for problem in problems] == ["cases.xlsx#patients", "cases.xlsx#sites"]


def test_columns_of_another_study_are_taken_over(tmp_path):
    """Its plan, too, however odd the words of a description."""
    own = '{sites: {flapless: {type: category, levels: ["no", "yes"], description: "No flap: {a}, #1, \\"so\\""}}}'
    other = write_study(tmp_path / "other", plan=f"extra_columns: {own}\n")
    for more in ([], ["--workbook"]):
        made = tmp_path / f"mine{len(more)}"
        assert main(["new", str(made), "--columns-of", str(other), *more]) == 0
        assert read_plan(made).extra_columns == read_plan(other).extra_columns
        for page in ("dictionary.html", "datapackage.json"):
            assert "No flap" in (made / page).read_text(encoding="utf-8")
    assert (tmp_path / "mine0" / "sites.csv").read_text(encoding="utf-8").strip().endswith(",flapless")
    sheet = openpyxl.load_workbook(tmp_path / "mine1" / "cases.xlsx")["sites"]
    assert [cell.value for cell in sheet[1]][-1] == "flapless"
