"""corrections.csv over the raw cells: what it changes, what is told of it, and what it is known again by."""

from __future__ import annotations

import csv
import hashlib
import io

import numpy as np
import pytest
from correction_books import problems
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from studies import cell, tables, write_study

from liftseries.intake.corrections.fingerprint import fingerprint, raw_row
from liftseries.intake.corrections.lines import COLUMNS, LEAVE_OUT, Correction, append_corrections, read_corrections
from liftseries.intake.files.sheet import Sheet, read_sheet
from liftseries.intake.study import check_study, checked_drafts, read_study
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import CORRECTIONS_FILE, Source

ROW_2 = ["p1", "north", 54, "female", "never", "no", "no"]  # of patients.csv


def sheet_of(header, rows) -> Sheet:
    columns = [np.array(column, dtype=object) for column in zip(*rows, strict=True)]
    return Sheet(Source("t.csv", None, None), "t.csv", False, header, 1, columns, np.arange(2, 2 + len(rows)), {})


def mark(table: str, row: int) -> str:
    """The fingerprint of a row of the small study, worked out by hand from what the module says of it."""
    filled = sorted((name, text) for name, text in tables()[table].iloc[row - 2].items() if text)
    return hashlib.sha256(str_json(filled)).hexdigest()


def str_json(pairs) -> bytes:
    inner = ", ".join(f'["{name}", "{text}"]' for name, text in pairs)
    return f"[{inner}]".encode()


def line(table="patients", row=2, column="centre", value="south", old=None, file=None) -> list[str]:
    return [table, file or f"{table}.csv", str(row), column, old or mark(table, row), value]


def corrected_study(folder, *lines, changes=None, header=COLUMNS, separator=",", ends="\n", encoding="utf-8"):
    study = write_study(folder / "study", changes)
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator=ends).writerows([header, *lines])
    (study / CORRECTIONS_FILE).write_bytes(text.getvalue().encode(encoding))
    return study


# ── what it changes ─────────────────────────────────────────────────────────────────────────────


def test_a_line_stands_over_its_cell_and_nothing_else(tmp_path):
    expected = read_study(read_plan(write_study(tmp_path / "sound", {"patients": cell(2, "centre", "south")}))).tables
    study = corrected_study(tmp_path, line())
    assert problems(study) == []
    for name, table in read_study(read_plan(study)).tables.items():
        assert table.equals(expected[name])


def test_the_later_of_two_lines_holds_and_an_empty_value_clears(tmp_path):
    lines = [line(value="east"), line("sites", 2, "soft_tissue_mm", ""), line(value="west")]
    tables = read_study(read_plan(corrected_study(tmp_path, *lines))).tables
    assert tables["patients"]["centre"][0] == "west"
    assert np.isnan(tables["sites"]["soft_tissue_mm"][0])


@pytest.mark.parametrize("saved", [{"separator": ";"}, {"ends": "\r\n"}, {"encoding": "utf-8-sig"}])
def test_the_file_may_have_been_saved_by_a_spreadsheet_program(tmp_path, saved):
    study = corrected_study(tmp_path, line(), **saved)
    plan = read_plan(study)
    append_corrections(plan, [Correction("patients", "patients.csv", 2, "centre", mark("patients", 2), "a, b; c")])
    assert problems(study) == []
    assert read_study(plan).tables["patients"]["centre"][0] == "a, b; c"


def test_what_stood_in_the_file_stays_byte_for_byte(tmp_path):
    study = corrected_study(tmp_path, line(), ends="\r\n")
    before = (study / CORRECTIONS_FILE).read_bytes().rstrip()
    (study / CORRECTIONS_FILE).write_bytes(before)
    append_corrections(read_plan(study), [Correction(*line(value="west")[:2], 2, *line(value="west")[3:])])
    after = (study / CORRECTIONS_FILE).read_bytes()
    assert after.startswith(before)
    assert len(read_corrections(read_plan(study)).lines) == 2


def test_each_corrected_cell_is_a_decision_without_its_value(tmp_path):
    lines = [line(value="quorvexil"), line("sites", 3, "tooth", "27"), line("stops", 2, "", "leave out")]
    plan = read_plan(corrected_study(tmp_path, *lines))
    drafts = checked_drafts(plan, read_corrections(plan))
    rules = ("corrected", "left_out")
    told = [one for draft in drafts.values() for one in draft.decisions if one.rule in rules]
    assert [(one.table, one.row, one.column, one.stood, one.taken_for) for one in told] == [
        ("patients", 2, "centre", "a text", f"the value in {CORRECTIONS_FILE}, row 2"),
        ("sites", 3, "tooth", "a whole number", f"the value in {CORRECTIONS_FILE}, row 3"),
        ("stops", 2, "", "a row", "nothing: the row is left out"),
    ]
    assert "quorvexil" not in str(told)


def test_the_file_is_an_input_of_a_run(tmp_path):
    study = corrected_study(tmp_path, line())
    hashes = input_hashes(read_plan(study))
    assert CORRECTIONS_FILE in hashes
    append_corrections(
        read_plan(study), [Correction("patients", "patients.csv", 3, "sex", mark("patients", 3), "male")]
    )
    assert input_hashes(read_plan(study)) != hashes


# ── what is told of it ──────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (line(table="sites", file="patients.csv"), "names a table and file that study.yaml does not"),
        (line(file="quorvexil.csv"), "names a table and file that study.yaml does not"),
        (["quorvexil", "patients.csv", "2", "centre", "0" * 64, "x"], "names a table and file that study.yaml does"),
        ([*line()[:2], "two", *line()[3:]], "the row is no whole number above 0"),
        ([*line()[:2], "0", *line()[3:]], "the row is no whole number above 0"),
        ([*line()[:2], "2.5", *line()[3:]], "the row is no whole number above 0"),
        ([*line()[:2], "1e999", *line()[3:]], "the row is no whole number above 0"),
        (line(column="quorvexil"), "names a column that the table does not have"),
        (line(column="", value="quorvexil"), "names no column, but its value is not `leave out`"),
        (line(row=2, old="0" * 64), "patients.csv, row 2 has changed since it was corrected"),
        (line(row=2, column="", value="leave out", old="0" * 64), "has changed since it was corrected"),
        ([*line()[:2], "99", *line()[3:]], "patients.csv, row 99 is empty or not there"),
        (line("sites", 2, "isq", "60"), "sites.csv has no column isq that can be read"),
        (line(value="jo.quorvexil@clinic.example"), "an e-mail address"),
        ([*line(), "quorvexil"], "more or fewer cells than columns"),
    ],
)
def test_a_line_that_does_not_fit_is_told_at_its_place_and_changes_nothing(tmp_path, wrong, told):
    expected = read_study(read_plan(write_study(tmp_path / "sound"))).tables
    study = corrected_study(tmp_path, wrong)
    intake, found = check_study(read_plan(study))
    assert [problem.place for problem in found] == [f"{CORRECTIONS_FILE}, row 2"]
    assert told in found[0].message
    assert "quorvexil" not in str(found[0])
    for name, table in intake.tables.items():
        assert table.equals(expected[name])


def test_one_bad_line_does_not_take_the_others_along(tmp_path):
    study = corrected_study(tmp_path, line(column="colour"), line(value="west"))
    intake, found = check_study(read_plan(study))
    assert len(found) == 1
    assert intake.tables["patients"]["centre"][0] == "west"


def test_a_cleared_column_may_hold_what_looks_like_an_identifier(tmp_path):
    study = corrected_study(tmp_path, line(value="jo@clinic.example"))
    with (study / "study.yaml").open("a", encoding="utf-8") as plan:
        plan.write("reading:\n  cleared: {patients: [centre]}\n")
    assert problems(study) == []


@pytest.mark.parametrize("correction", [{"column": "centre"}, {"column": "", "value": LEAVE_OUT}], ids=str)
def test_an_identifier_in_a_file_is_told_though_a_correction_covers_it(tmp_path, correction):
    filed = {"patients": cell(2, "centre", "jo@clinic.example")}
    frame = filed["patients"](tables()["patients"])
    filled = sorted((name, text) for name, text in frame.iloc[0].items() if text)
    old = hashlib.sha256(str_json(filled)).hexdigest()
    study = corrected_study(tmp_path, line(old=old, **correction), changes=filed)
    assert any(problem.startswith("patients.csv, row 2, centre: looks like an e-mail") for problem in problems(study))


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"a\0b", b'"', b"table;file\n", b"\n\n", b"x" * 1000])
def test_an_unreadable_file_is_told_without_a_traceback(tmp_path, content):
    study = write_study(tmp_path / "study")
    (study / CORRECTIONS_FILE).write_bytes(content)
    told = problems(study)
    assert len(told) == 1
    assert told[0].startswith(CORRECTIONS_FILE)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    lines=st.lists(
        st.tuples(
            st.sampled_from(["patients", "sites", "steps", "visits", "x"]),
            st.integers(0, 9),
            st.sampled_from(["", "centre", "tooth", "site_id", "months", "patient_id"]),
            st.sampled_from(["leave out", "", "16", "s1", "p2", "-3", "=1", "\u2028", "a\nb"]),
            st.booleans(),
        ),
        max_size=8,
    )
)
def test_whatever_is_corrected_no_row_is_lost(tmp_path_factory, lines):
    """Read = kept + set aside, which intake proves at every reading, with the rows left out among those set aside."""
    written = []
    for table, row, column, value, fits in lines:
        right = fits and table != "x" and 2 <= row < 2 + len(tables()[table])
        written.append(line(table, row, column, value, mark(table, row) if right else "0" * 64))
    study = corrected_study(tmp_path_factory.mktemp("any"), *written)
    intake, _ = check_study(read_plan(study))
    counts = intake.counts.set_index("table")
    assert (counts["read"] == counts["kept"] + counts["set_aside"]).all()
    assert counts.loc[["patients", "sites", "steps", "visits"], "read"].tolist() == [3, 4, 7, 7]


# ── what a row is known by ──────────────────────────────────────────────────────────────────────


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
