"""The correction workbook as it is written: which rows, how marked, and that no text of it can run."""

from __future__ import annotations

import re
import zipfile

import openpyxl
import pytest
from correction_books import FAULTS, cell_of, column_of, faulty, problems, written
from seeded import seeded
from studies import added, cell, cells, tables, write_plan, write_study

from liftseries.base.errors import StudyError, UsageError
from liftseries.intake.books.correction_book import write_correction_book
from liftseries.intake.books.first_sheet import README_SHEET
from liftseries.intake.books.workbook_cells import FILE, FRONT, MARK, OUT, PERSON, REASON, ROW, WRONG
from liftseries.intake.corrections.lines import read_corrections
from liftseries.intake.set_aside import DEPENDS, set_aside
from liftseries.intake.study import checked_drafts
from liftseries.study.plan import read_plan

FORMULAS = ["=1+2", "=cmd|' /C calc'!A0", "@SUM(1+1)", "+1+2", "-2+3", "\t=1+2", "'=1+2", "{=1+2}"]


def rows_in(book) -> set[tuple[str, int]]:
    """(table, row) of every row that the workbook holds."""
    sheets = [sheet for sheet in book if sheet.title != README_SHEET]
    return {
        (sheet.title, sheet.cell(number, column_of(sheet, ROW)).value)
        for sheet in sheets
        for number in range(2, sheet.max_row + 1)
    }


def first_sheet(book) -> str:
    return "\n".join(str(cell.value) for row in book[README_SHEET].iter_rows() for cell in row if cell.value)


def test_holds_the_rows_with_faults_of_their_own_and_no_others(tmp_path):
    tables_as_filed = seeded().tables
    study = write_study(tmp_path / "study", tables_as_filed)
    plan = read_plan(study)
    drafts = checked_drafts(plan, read_corrections(plan))
    lines = set_aside(drafts)[1]
    own = {(line.table, line.row) for line in lines if line.rule != DEPENDS}
    depending = {(line.table, line.row) for line in lines if line.rule == DEPENDS} - own
    book = openpyxl.load_workbook(written(study))
    assert len(own) > 80
    assert depending
    assert rows_in(book) <= own
    for table, row in own - rows_in(book):  # exact copies stand there once
        filed = drafts[table].filed
        key = filed.keys[filed.index(0, row)]
        assert {(table, filed.row(index)) for index in filed.by_key[key]} & rows_in(book)
        assert tables_as_filed[table].iloc[row - 2].tolist() in (
            tables_as_filed[table].iloc[filed.row(index) - 2].tolist()
            for index in filed.by_key[key]
            if (table, filed.row(index)) in rows_in(book)
        )


def test_columns_are_the_tables_own_in_their_order_between_place_and_mark(tmp_path):
    columns = sorted(tables()["sites"])
    changes = {"sites": lambda sites: cell(2, "tooth", "99")(sites)[columns]}
    book = openpyxl.load_workbook(written(write_study(tmp_path / "study", changes)))
    assert [cell.value for cell in book["sites"][1]] == [*FRONT, *columns, MARK]


def test_faulty_cells_are_told_by_frame_note_and_words_beside_the_colour(tmp_path):
    book = openpyxl.load_workbook(written(write_study(tmp_path / "study", faulty())))
    for fault in FAULTS:
        faulty_cell = cell_of(book, fault.table, fault.row, fault.column)
        wrong = cell_of(book, fault.table, fault.row, WRONG).value
        note, message = faulty_cell.comment.text.split(":\n", 1)
        assert faulty_cell.border.left.style == "thick"
        assert faulty_cell.font.bold
        assert wrong == f"{fault.column}: {message}"
        assert re.fullmatch(r"[a-z ]+", note)  # the rule, in words
    sound = cell_of(book, "sites", 2, "tooth")
    assert (sound.value, sound.comment, sound.border.left.style, sound.font.bold) == ("16", None, None, False)


def test_only_cells_to_be_corrected_are_open(tmp_path):
    sheet = openpyxl.load_workbook(written(write_study(tmp_path / "study", faulty())))["sites"]
    assert sheet.protection.sheet
    assert sheet.freeze_panes == "E2"
    open_titles = {cell.value for cell in sheet[1] if not sheet.cell(2, cell.column).protection.locked}
    assert open_titles == {OUT, REASON, PERSON, *tables()["sites"].columns}


def test_levels_are_offered(tmp_path):
    sheet = openpyxl.load_workbook(written(write_study(tmp_path / "study", faulty())))["patients"]
    offers = {str(offer.sqref): offer.formula1 for offer in sheet.data_validations.dataValidation}
    letter = sheet.cell(1, column_of(sheet, "sex")).column_letter
    assert offers[f"{letter}2:{letter}4"] == '"female,male,other,unknown"'
    assert '"leave out"' in offers.values()


@pytest.mark.parametrize("text", FORMULAS)
def test_no_text_can_act_as_a_formula(tmp_path, text):
    study = write_study(tmp_path / "study", {"patients": cells((2, "centre", text), (2, "age_years", text))})
    path = written(study)
    book = openpyxl.load_workbook(path)
    for column in ("centre", "age_years"):
        taken = cell_of(book, "patients", 2, column)
        assert (taken.value, taken.data_type) == (text.strip(), "s")
        assert taken.quotePrefix
        assert taken.number_format == "@"
    with zipfile.ZipFile(path) as parts:
        sheets = [parts.read(name) for name in parts.namelist() if name.startswith("xl/worksheets/sheet")]
    assert not any(re.search(rb"<(?:\w+:)?f[\s>/]", sheet) for sheet in sheets)


def test_every_filled_cell_of_a_row_is_a_text(tmp_path):
    """So no program makes a date of 3.6, or rounds what a file holds."""
    changes = {"sites": cells((2, "tooth", "3.6"), (2, "rbh_min_mm", "5.123456789012345678"))}
    book = openpyxl.load_workbook(written(write_study(tmp_path / "study", changes)))
    assert cell_of(book, "sites", 2, "tooth").value == "3.6"
    assert cell_of(book, "sites", 2, "rbh_min_mm").value == "5.123456789012345678"
    kinds = {cell.data_type for row in book["sites"].iter_rows(min_row=2) for cell in row if cell.value is not None}
    assert kinds == {"s", "n"}
    numbers = [cell for row in book["sites"].iter_rows() for cell in row if cell.data_type == "n" and cell.value]
    assert {cell.column for cell in numbers} == {column_of(book["sites"], ROW)}


def test_what_is_no_cell_of_a_row_is_listed_on_the_first_sheet(tmp_path):
    changes = faulty() | {"visits": lambda visits: visits.drop(columns="status"), "stops": added({"stop_id": ""})}
    study = write_study(tmp_path / "study", changes)
    (study / "steps.csv").write_bytes(b"site_id\xff\n")
    book = openpyxl.load_workbook(written(study))
    told = first_sheet(book)
    assert "a column is missing: status" in told
    assert "is not UTF-8" in told
    assert "must not leave the house" in told
    assert not {"visits", "steps"} & set(book.sheetnames)


def test_missing_column_that_rows_need_is_listed_on_the_first_sheet(tmp_path):
    """Nothing could be typed there; what is needed is the column."""
    changes = {"sites": lambda sites: cell(5, "tooth", "99")(sites).drop(columns="guide_offset_mm")}
    book = openpyxl.load_workbook(written(write_study(tmp_path / "study", changes)))
    assert rows_in(book) == {("sites", 5)}
    assert "a column is missing: guide_offset_mm" in first_sheet(book)


def test_rows_of_several_files_stand_in_one_sheet(tmp_path):
    folder = tmp_path / "study"
    folder.mkdir()
    north, south = tables(), tables()
    north["patients"] = cell(2, "sex", "x?")(north["patients"])
    south["patients"] = cell(3, "age_years", "7")(south["patients"].assign(patient_id=["r1", "r2", "r3"]))
    south["patients"] = south["patients"][sorted(south["patients"])]
    files = {}
    for name, table in north.items():
        table.to_csv(folder / f"{name}.csv", index=False)
        files[name] = f"{name}.csv"
    south["patients"].to_csv(folder / "south.csv", index=False)
    write_plan(folder, files | {"patients": ["patients.csv", "south.csv"]})
    sheet = openpyxl.load_workbook(written(folder))["patients"]
    rows = [[sheet.cell(number, column_of(sheet, title)).value for title in (FILE, ROW)] for number in (2, 3)]
    assert rows == [["patients.csv", 2], ["south.csv", 3]]
    assert [cell.value for cell in sheet[1]][len(FRONT) : -1] == list(tables()["patients"].columns)
    assert sheet.cell(3, column_of(sheet, "diabetes")).value == south["patients"]["diabetes"][1]


def test_workbook_and_parquet_cells_come_as_they_are_told(tmp_path):
    changed = {"patients": cell(2, "age_years", "7")(tables()["patients"])}
    for ending in ("xlsx", "parquet"):
        study = write_study(tmp_path / ending, changed, ending=ending)
        book = openpyxl.load_workbook(written(study, f"{ending}-corrections.xlsx"))
        row = [cell.value for cell in book["patients"][2]]
        assert row[len(FRONT) : -1] == ["p1", "north", "7", "female", "never", "no", "no"]


def test_a_sound_study_gets_no_workbook(tmp_path):
    study = write_study(tmp_path / "study")
    assert write_correction_book(read_plan(study), tmp_path / "c.xlsx").n_rows == 0
    assert not (tmp_path / "c.xlsx").exists()


def test_is_not_written_where_something_points_to_a_person(tmp_path):
    study = write_study(tmp_path / "study", {"patients": cells((2, "centre", "jo@clinic.example"), (3, "sex", "x?"))})
    assert any("an e-mail address" in line for line in problems(study))
    with pytest.raises(StudyError, match="not written while something points to people") as raised:
        written(study)
    assert "patients.csv" in str(raised.value)
    assert "jo@" not in str(raised.value)
    assert not (tmp_path / "corrections.xlsx").exists()


@pytest.mark.parametrize("name", ["study.xlsx", "there.xlsx", "corrections.csv", "corrections.xls"])
def test_nothing_is_overwritten_and_the_ending_is_right(tmp_path, name):
    write_study(tmp_path, {"patients": cell(2, "sex", "x?")}, ending="xlsx")
    (tmp_path / "there.xlsx").write_bytes(b"somebody's")
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(UsageError):
        write_correction_book(read_plan(tmp_path), tmp_path / name)
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_place_that_cannot_be_written_is_wrong_use(tmp_path):
    write_study(tmp_path, {"sites": cell(2, "tooth", "x")})
    with pytest.raises(UsageError, match="cannot be written"):
        write_correction_book(read_plan(tmp_path), tmp_path / "study.yaml" / "mend.xlsx")


def test_an_input_that_is_not_there_yet_is_not_written_in_its_place(tmp_path):
    write_study(tmp_path, ending="xlsx")
    (tmp_path / "study.xlsx").unlink()
    with pytest.raises(UsageError, match="names as a table"):
        write_correction_book(read_plan(tmp_path), tmp_path / "study.xlsx")
