"""Lines of the older form, by row number: they go over to keys once, or are told by name; what a row was known by."""

from __future__ import annotations

import csv
import hashlib
import json

import numpy as np
import pytest
from correction_books import problems
from hypothesis import given
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal
from studies import cell, tables, write_study

from liftseries.cli import main
from liftseries.intake.corrections.fingerprint import fingerprint, raw_row
from liftseries.intake.corrections.lines import BY_ROW_COLUMNS, read_corrections
from liftseries.intake.files.read_sheet import read_sheet
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import CORRECTIONS_FILE, Source


def sheet_of(header, rows) -> Sheet:
    columns = [np.array(column, dtype=object) for column in zip(*rows, strict=True)]
    return Sheet(Source("t.csv", None, None), "t.csv", False, header, 1, columns, np.arange(2, 2 + len(rows)), {})


def mark(table: str, row: int) -> str:
    """The fingerprint of a row of the small study, worked out by hand from what the module says of it."""
    filled = sorted([name, text] for name, text in tables()[table].iloc[row - 2].items() if text)
    return hashlib.sha256(json.dumps(filled, ensure_ascii=False).encode()).hexdigest()


def by_row(table="patients", row=2, column="centre", value="south", old=None) -> list[str]:
    return [table, f"{table}.csv", str(row), column, old or mark(table, row), value]


def older_study(folder, *lines):
    study = write_study(folder / "study")
    with (study / CORRECTIONS_FILE).open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([BY_ROW_COLUMNS, *lines])
    return study


LINES = [
    by_row(value="east"),
    by_row("sites", 3, "tooth", "27"),
    by_row(value="west"),
    by_row("visits", 8, "", "leave out"),
]


def test_lines_that_fit_go_over_once_and_mean_the_same(tmp_path, capsys):
    study = older_study(tmp_path, *LINES)
    old = (study / CORRECTIONS_FILE).read_bytes()
    assert problems(study) == [
        f"{CORRECTIONS_FILE}, row 1: its lines name rows by number. `liftseries check` gives them the rows' keys, once."
    ]
    assert main(["check", str(study)]) == 0
    assert "4 lines of corrections.csv by row number now by key" in capsys.readouterr().out
    assert (study / "corrections_by_row.csv").read_bytes() == old
    lines = read_corrections(read_plan(study)).lines
    assert [(one.key, one.column, one.value, one.supersedes) for one in lines] == [
        ("p1", "centre", "east", None), ("s2", "tooth", "27", None), ("p1", "centre", "west", 1),
        ("s3 | 10", "", "leave out", None),
    ]  # fmt: skip
    expected = read_study(read_plan(write_study(tmp_path / "sound", {
        "patients": cell(2, "centre", "west"), "sites": cell(3, "tooth", "27"), "visits": lambda table: table[:-1],
    }))).tables  # fmt: skip
    for name, table in read_study(read_plan(study)).tables.items():
        assert_frame_equal(table, expected[name])
    now = (study / CORRECTIONS_FILE).read_bytes()
    assert main(["check", str(study)]) == 0
    assert (study / CORRECTIONS_FILE).read_bytes() == now
    assert "by row number" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("lost", "name"),
    [
        (by_row(old="0" * 64), "patients.csv, row 2, centre"),
        ([*by_row()[:2], "99", *by_row()[3:]], "patients.csv, row 99, centre"),
        (by_row("visits", 8, "", "leave out", old="0" * 64), "visits.csv, row 8, leave out"),
    ],
)
def test_a_line_whose_row_has_changed_is_told_by_name_and_kept(tmp_path, capsys, lost, name):
    study = older_study(tmp_path, by_row("patients", 3, "sex", "female"), lost)
    assert main(["check", str(study)]) == 1
    said = capsys.readouterr()
    assert f"{CORRECTIONS_FILE}: {name}: has changed since" in said.out
    assert len(read_corrections(read_plan(study)).lines) == 2
    state = check_study(read_plan(study))[0].corrections["state"].tolist()
    assert state == ["applied", "not there"]


# ── what a row was known by ─────────────────────────────────────────────────────────────────────


def test_fingerprint_worked_by_hand(tmp_path):
    """SHA-256 of the filled cells and their names as JSON, sorted; so a row is known again without its text."""
    sheet = read_sheet(Source("patients.csv", write_study(tmp_path) / "patients.csv", None), "patients")
    assert fingerprint(sheet, raw_row(sheet, 0)) == mark("patients", 2)


CELLS = st.one_of(st.none(), st.text(max_size=5), st.integers(-99, 99), st.floats(-9, 9).map(lambda x: round(x, 3)))


@given(row=st.lists(CELLS, min_size=4, max_size=4), order=st.permutations(range(4)))
def test_the_order_of_columns_does_not_matter(row, order):
    names = ["a", "b", "c", "d"]
    turned = sheet_of([names[at] for at in order], [[row[at] for at in order]])
    sheet = sheet_of(names, [row])
    assert fingerprint(turned, raw_row(turned, 0)) == fingerprint(sheet, raw_row(sheet, 0))


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (5.2, "5.2", True),  # as a workbook holds it, and a CSV
        (16.0, "16", True),
        (" north\u00a0", "north", True),
        ("e\u0301", "\u00e9", True),  # Unicode's two ways to write é (UAX 15)
        (None, "  ", True),
        (float("nan"), "", True),
        (True, "true", True),
        ("5.2", "5.20", False),
        ("5,2", "5.2", False),
        ("North", "north", False),
        ("", "0", False),
    ],
)
def test_same_content_has_the_same_fingerprint_and_no_other(one, other, same):
    sheet = sheet_of(["a", "b"], [["x", one], ["x", other]])
    assert (fingerprint(sheet, raw_row(sheet, 0)) == fingerprint(sheet, raw_row(sheet, 1))) is same


def test_a_value_in_the_next_column_is_another_row():
    sheet = sheet_of(["a", "b", None], [["x", None, None], [None, "x", None], [None, None, "x"]])
    assert len({fingerprint(sheet, raw_row(sheet, at)) for at in range(3)}) == 3
