"""Three centres' files as they came, to a report: by the commands a person would type, and no cell retyped.

The files are those of `three_centres/`; beside them lie the readings that `liftseries map` drafted, their questions
answered, and study.yaml. What is replayed here: check, the correction workbook out to the centres and back, check, run.
"""

from __future__ import annotations

import hashlib
import re
import shutil
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from openpyxl.worksheet.worksheet import Worksheet
from studies import write_plan
from whole_study.conftest import in_this_process, liftseries
from whole_study.three_centres.centres import truth
from whole_study.three_centres.faults import FAULTS, KEYS, ODD, Fault
from whole_study.three_centres.files import write_centres

from liftseries.base.plain_yaml import load_yaml
from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan

HERE = Path(__file__).parent / "three_centres"
FILES = ("nord.xlsx#Operationen", "nord.xlsx#Kontrollen", "sud.csv", "west.csv")


def hashes(folder: Path) -> dict[str, str]:
    """Of what the centres sent: the tables, whatever else lies in the folder."""
    sent = (path for path in folder.iterdir() if path.suffix in (".csv", ".xlsx") and path.stem != "corrections")
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sent}


def answered(study: Path) -> None:
    """What the data manager writes: the readings with their questions answered, and study.yaml."""
    shutil.copytree(HERE / "reading", study / "reading", dirs_exist_ok=True)
    shutil.copyfile(HERE / "study.yaml", study / "study.yaml")


def type_in(sheet: Worksheet, fault: Fault) -> None:
    """A centre types the right value over the wrong one, with a reason and a pseudonym."""
    at = {cell.value: cell.column for cell in sheet[1]}
    key = KEYS[fault.table][0]
    (row,) = (
        row
        for row in range(2, sheet.max_row + 1)
        if (sheet.cell(row, at[key]).value, sheet.cell(row, at[fault.column]).value) == (fault.key[0], fault.typed)
    )
    for name, value in ((fault.column, fault.right), ("reason for the change", "typing error"), ("changed by", "dm")):
        sheet.cell(row, at[name]).value = value


@pytest.fixture(scope="module")
def mended(tmp_path_factory):
    """The study after its files were read and its typing errors came back corrected; what was said on the way."""
    study = write_centres(tmp_path_factory.mktemp("three") / "study")
    before = hashes(study)
    answered(study)
    book = study.parent / "to_mend.xlsx"
    first = in_this_process("check", study, "--corrections", book, "--odd")
    opened = openpyxl.load_workbook(book)
    for fault in (*FAULTS, *ODD):
        type_in(opened[fault.table], fault)
    opened.save(book)
    second = in_this_process("check", study, "--apply", book)
    assert hashes(study) == before
    return study, first, second


def test_a_draft_of_each_file_leaves_questions_that_check_refuses(tmp_path):
    study = write_centres(tmp_path / "study")
    drafted = in_this_process("map", study, *FILES, "--add")
    assert drafted.status == 0, drafted.err
    for path in (study / "reading").iterdir():
        assert (HERE / "reading" / path.name).exists()
        names = {*load_yaml(path.read_text(encoding="utf-8")), "ignore"}
        assert "columns" in names
    refused = in_this_process("check", study)
    assert refused.status == 1
    assert len(re.findall(r"still questions", refused.out + refused.err)) == len(FILES)
    answered(study)
    assert in_this_process("map", study, *FILES, "--update").out.count("nothing to add") == len(FILES)


def test_a_workbook_of_several_sheets_is_asked_for_by_sheet(tmp_path):
    study = write_centres(tmp_path / "study")
    said = in_this_process("map", study, "nord.xlsx")
    assert said.status == 1
    assert said.err.startswith("nord.xlsx: 2 sheets. Name one of them behind a #")


def test_the_first_check_tells_the_typing_errors_and_nothing_else(mended):
    _, first, _ = mended
    assert first.status == 1
    assert first.out.startswith(f"{len(FAULTS)} problems ")
    assert len(first.out.splitlines()) < 80


def test_the_second_check_is_clean(mended):
    _, _, second = mended
    assert second.status == 0, second.out
    assert f"{len(FAULTS) + len(ODD)} cells corrected" in second.out
    assert "No problem found" in second.out


def test_typing_errors_that_may_be_right_are_told_as_odd_until_they_are_corrected(mended):
    _, first, second = mended
    for rule in ("tear_without_perforation", "torque_high"):
        assert rule in first.out
        assert rule not in second.out
    assert "Odd and accepted, visit_beyond_closing: 1 entry" in second.out


def test_the_tables_are_those_that_the_files_were_made_of(mended, tmp_path):
    tables = truth()
    # What the third centre never counted: a plain study cannot say so of some of a file's rows.
    uncounted = tables["sites"].loc[tables["sites"]["operator_case_no"] == "", "site_id"]
    tables["sites"]["operator_case_no"] = tables["sites"]["operator_case_no"].replace("", "1")
    for name, table in tables.items():
        table.to_csv(tmp_path / f"{name}.csv", index=False)
    write_plan(tmp_path, {name: f"{name}.csv" for name in tables})
    expected, found = read_study(read_plan(tmp_path)).tables, read_study(read_plan(mended[0])).tables
    sites = expected["sites"]
    sites["operator_case_no"] = sites["operator_case_no"].astype(found["sites"]["operator_case_no"].dtype)
    sites.loc[sites["site_id"].isin(uncounted), "operator_case_no"] = np.nan
    assert len(uncounted)
    for name, key in (KEYS | {"steps": ["site_id", "step_no"]}).items():
        left, right = (held[name].sort_values(key, ignore_index=True) for held in (found, expected))
        pd.testing.assert_frame_equal(left[list(right)], right)


def test_the_run_reaches_the_report(mended):
    study, _, _ = mended
    run = liftseries("run", study, "--quiet")
    assert run.status == 0, run.err
    results = pd.read_csv(study / "output" / "results.csv")
    rate = results.query("analysis == 'perforation.rate' and subset == 'all' and headline")
    sites = truth()["sites"]["perforation"]
    assert rate["estimate"].to_numpy() == pytest.approx([(sites == "yes").sum() / sites.isin(["yes", "no"]).sum()])
    report = (study / "output" / "report.html").read_text(encoding="utf-8")
    assert "Crestal lifts at three invented centres" in report
