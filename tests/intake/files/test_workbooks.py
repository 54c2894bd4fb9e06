"""What workbooks join, hide and show: settled by a stated rule with a decision, or refused with its place."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from stored import rewrite
from studies import cell, cells, tables, write_plan, write_study

from liftseries.intake.draft.stack import draft_table
from liftseries.intake.files.number_formats import hides_decimals, seen
from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan

READ, LEAVE_OUT = "reading: {hidden: read}", "reading: {hidden: leave_out}"


def changed_book(folder: Path, change, sheet: str = "patients", changes=None, plan: str = "") -> Path:
    """The study as a workbook, one of its sheets put through a function."""
    write_study(folder, changes, ending="xlsx", plan=plan)
    book = openpyxl.load_workbook(folder / "study.xlsx")
    change(book[sheet])
    book.save(folder / "study.xlsx")
    return folder


def problems(folder: Path) -> list[str]:
    return [str(problem) for problem in check_study(read_plan(folder))[1]]


def only_problem(folder: Path) -> str:
    found = problems(folder)
    assert len(found) == 1, found
    return found[0]


def decided(folder: Path, table: str = "patients") -> list[tuple[str, str]]:
    """Place and rule of each decision on a table."""
    plan = read_plan(folder)
    draft = draft_table(plan.schema[table], plan.tables[table], readings=plan.readings)
    return [(decision.place, decision.rule) for decision in draft.decisions]


def table_of(folder: Path, table: str = "patients") -> pd.DataFrame:
    return read_study(read_plan(folder)).tables[table]


# ── merged cells ──────────────────────────────────────────────────────────────────────────────────


def merged(*references: str):
    def change(sheet):
        for reference in references:
            sheet.merge_cells(reference)

    return change


def test_merge_down_a_column_holds_for_each_of_its_rows(tmp_path):
    """p2 has the sites s2 and s3; a spreadsheet shows the merged id in the middle and stores it once."""
    folder = changed_book(tmp_path, merged("B3:B4"), "sites")
    assert table_of(folder, "sites")["patient_id"].tolist() == ["p1", "p2", "p2", "p3"]
    rule = "merged_cell_holds_for_its_rows"
    assert decided(folder, "sites") == [("study.xlsx, sheet sites, cell B4, patient_id", rule)]


def test_merge_across_columns_leaves_its_cells_without_a_value(tmp_path):
    folder = changed_book(tmp_path, merged("D3:E3"))
    told = problems(folder)
    assert [message.split(":")[0] for message in told] == [
        "study.xlsx, sheet patients, cell D3, sex",
        "study.xlsx, sheet patients, cell E3, smoking",
    ]
    assert all("merged" in message for message in told)
    assert check_study(read_plan(folder))[0].findings["value_class"].tolist() == ["merged"] * 2


def test_value_beneath_a_merge_is_not_lost(tmp_path):
    """A merge hides what other programs left in its lower cells; which of the two is right, nobody can tell."""
    folder = changed_book(tmp_path, lambda sheet: None)
    rewrite(
        folder / "study.xlsx",
        "xl/worksheets/sheet1.xml",
        lambda part: part.replace(b"</sheetData>", b'</sheetData><mergeCells><mergeCell ref="C2:C3"/></mergeCells>'),
    )
    assert only_problem(folder).startswith("study.xlsx, sheet patients, cell C3, age_years: merged with cells of")


@pytest.mark.parametrize("reference", ["C1:D1", "A1:A2"])
def test_merged_header_is_refused(tmp_path, reference):
    folder = changed_book(tmp_path, merged(reference))
    assert only_problem(folder).startswith(
        f"study.xlsx, sheet patients, cells {reference}: cells of the header are merged."
    )


def test_overlapping_merges_are_a_damage(tmp_path):
    folder = changed_book(tmp_path, merged("A2:A3"))
    rewrite(
        folder / "study.xlsx",
        "xl/worksheets/sheet1.xml",
        lambda part: part.replace(b"<mergeCell ", b'<mergeCell ref="A3:B3"/><mergeCell '),
    )
    assert "merged cells overlap" in only_problem(folder)


def test_merge_below_the_table_or_in_a_title_does_not_matter(tmp_path):
    def change(sheet):
        sheet.insert_rows(1)
        sheet["A1"] = "A title"
        sheet.merge_cells("A1:G1")
        sheet.merge_cells("A9:C9")

    folder = changed_book(tmp_path, change)
    assert problems(folder) == []
    assert [rule for _, rule in decided(folder)] == ["header_is_the_row_of_column_names"]


# ── hidden rows, columns and sheets ───────────────────────────────────────────────────────────────


def hide_row(sheet):
    sheet.row_dimensions[3].hidden = True


def hide_column(sheet):
    sheet.column_dimensions["B"].hidden = True


def filtered(sheet):
    sheet.auto_filter.ref = "A1:G4"
    sheet.auto_filter.add_filter_column(1, ["south"])
    for row in (2, 3):
        sheet.row_dimensions[row].hidden = True


@pytest.mark.parametrize("invalid_rows", ["stop", "set_aside"])
@pytest.mark.parametrize(
    ("change", "told"),
    [
        (hide_row, "row 3 is hidden. Unhide or delete them, or write `hidden: read` or"),
        (filtered, "the rows 2 to 3 are hidden, some by a filter."),
        (hide_column, "what stands in hidden columns (B) is not read. Unhide or delete them, or write"),
    ],
)
def test_what_is_hidden_stops_the_run(tmp_path, change, told, invalid_rows):
    folder = changed_book(tmp_path, change, plan=f"invalid_rows: {invalid_rows}")
    assert only_problem(folder).startswith(f"study.xlsx, sheet patients: {told}")


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (hide_row, [("study.xlsx, sheet patients, row 3", "hidden_row_is_read")]),
        (hide_column, [("study.xlsx, sheet patients, cell B1", "hidden_column_is_read")]),
        (filtered, [(f"study.xlsx, sheet patients, row {row}", "hidden_row_is_read") for row in (2, 3)]),
    ],
)
def test_hidden_may_be_read(tmp_path, change, expected):
    folder = changed_book(tmp_path, change, plan=READ)
    assert table_of(folder)["patient_id"].tolist() == ["p1", "p2", "p3"]
    assert decided(folder) == expected


def test_hidden_rows_may_be_left_out_and_are_counted(tmp_path):
    folder = changed_book(tmp_path, lambda sheet: _hide(sheet, 8), "visits", plan=LEAVE_OUT)
    intake = read_study(read_plan(folder))
    counts = intake.counts.set_index("table").loc["visits"]
    assert (counts["read"], counts["kept"], counts["set_aside"]) == (7, 6, 1)
    (line,) = intake.set_aside.itertuples()
    assert (line.row, line.rule, line.message) == (8, "left_out", "left out by study.yaml, reading, hidden.")
    assert decided(folder, "visits") == [("study.xlsx, sheet visits, row 8", "hidden_row_is_left_out")]


def _hide(sheet, row: int) -> None:
    sheet.row_dimensions[row].hidden = True


def test_hidden_column_may_be_left_out(tmp_path):
    folder = changed_book(tmp_path, lambda sheet: _hide_column(sheet, "K"), "sites", plan=LEAVE_OUT)
    assert tables()["sites"].columns[10] == "soft_tissue_mm"
    assert table_of(folder, "sites")["soft_tissue_mm"].isna().all()
    assert decided(folder, "sites") == [("study.xlsx, sheet sites, cell K1", "hidden_column_is_left_out")]


def _hide_column(sheet, letter: str) -> None:
    sheet.column_dimensions[letter].hidden = True


def test_hidden_and_empty_is_nothing(tmp_path):
    def change(sheet):
        for row in (5, 9):
            _hide(sheet, row)
        _hide_column(sheet, "J")

    assert problems(changed_book(tmp_path, change)) == []


def test_row_without_height_is_hidden(tmp_path):
    """ECMA-376-1, 18.3.1.73 (row): `ht`; a spreadsheet shows nothing of such a row."""
    folder = write_study(tmp_path, ending="xlsx")
    rewrite(
        folder / "study.xlsx",
        "xl/worksheets/sheet1.xml",
        lambda part: part.replace(b'<row r="3"', b'<row r="3" ht="0" customHeight="1"'),
    )
    assert "row 3 is hidden" in only_problem(folder)


@pytest.mark.parametrize("state", ["hidden", "veryHidden"])
def test_hidden_sheet_is_read_only_where_it_is_named(tmp_path, state):
    folder = changed_book(tmp_path, lambda sheet: setattr(sheet, "sheet_state", state))
    assert problems(folder) == []
    assert decided(folder) == [("study.xlsx, sheet patients", "hidden_sheet_is_named")]
    write_plan(folder, {name: f"study.xlsx#{name}" for name in tables()} | {"patients": "study.xlsx"})
    assert only_problem(folder).startswith(
        "study.yaml, tables, patients: study.xlsx: the sheet patients is hidden. Unhide it, or write `study.xlsx#pat"
    )


def test_the_only_sheet_shown_is_taken_and_the_hidden_one_told(tmp_path):
    folder = write_study(tmp_path)
    book = openpyxl.Workbook()
    for row in [tables()["stops"].columns.tolist(), *tables()["stops"].to_numpy().tolist()]:
        book.active.append(row)
    book.create_sheet("old").sheet_state = "hidden"
    book.save(folder / "stops.xlsx")
    write_plan(folder, {name: f"{name}.csv" for name in tables()} | {"stops": "stops.xlsx"})
    assert problems(folder) == []
    assert decided(folder, "stops")[0] == ("stops.xlsx", "hidden_sheet_is_not_read")


# ── where the header stands ───────────────────────────────────────────────────────────────────────


def rows_above(*rows: list):
    def change(sheet):
        sheet.insert_rows(1, len(rows))
        for at, row in enumerate(rows, start=1):
            for column, value in enumerate(row, start=1):
                sheet.cell(at, column, value)

    return change


def test_titles_and_groups_above_the_header(tmp_path):
    folder = changed_book(tmp_path, rows_above(["Our series"], [], [None, "who", None, "what they do"]))
    assert table_of(folder)["patient_id"].tolist() == ["p1", "p2", "p3"]
    assert decided(folder) == [("study.xlsx, sheet patients", "header_is_the_row_of_column_names")]
    write_study(folder, {"patients": cell(3, "age_years", "x")}, ending="xlsx")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    rows_above(["Our series"])(book["patients"])
    book.save(folder / "study.xlsx")
    # Rows count as the spreadsheet shows them.
    assert only_problem(folder).startswith("study.xlsx, sheet patients, cell C4, age_years:")


def test_title_of_a_csv(tmp_path):
    folder = write_study(tmp_path)
    path = folder / "stops.csv"
    path.write_text("Our stops,,,\n" + path.read_text())
    assert problems(folder) == []
    assert decided(folder, "stops") == [("stops.csv", "header_is_the_row_of_column_names")]


def test_units_below_the_header_and_the_header_once_more(tmp_path):
    def change(sheet):
        sheet.insert_rows(2)
        for column, unit in enumerate(["id", "text", "[years]", "-", "-", "-", "-"], start=1):
            sheet.cell(2, column, unit)
        sheet.append([cell.value for cell in sheet[1]])

    folder = changed_book(tmp_path, change)
    assert table_of(folder)["patient_id"].tolist() == ["p1", "p2", "p3"]
    assert decided(folder) == [
        (f"study.xlsx, sheet patients, row {row}", "row_of_the_header_is_no_data") for row in (2, 6)
    ]


def test_column_names_in_two_rows_are_refused(tmp_path):
    def change(sheet):
        sheet.insert_rows(2)
        for column in range(4, 8):
            sheet.cell(2, column, sheet.cell(1, column).value)
            sheet.cell(1, column).value = None

    folder = changed_book(tmp_path, change)
    assert only_problem(folder) == (
        "study.xlsx, sheet patients, row 2: holds column names as row 1 does. Keep one row with all column names."
    )


def test_row_of_data_is_never_taken_for_a_row_of_units(tmp_path):
    """Ids that are spelt like units, in the first row below the header."""
    named = {"p1": "mm", "north": "code"}
    folder = write_study(tmp_path, {name: lambda table: table.replace(named) for name in ("patients", "sites")})
    assert table_of(folder)["patient_id"].tolist() == ["mm", "p2", "p3"]


# ── number formats ────────────────────────────────────────────────────────────────────────────────

# Format, number, whether what is shown is another number or none, text added, decimals hidden; by the rules of
# ECMA-376-1, 18.8.31, worked by hand.
FORMATS = [
    ("General", 5.25, False, "", False),
    ("@", 5.25, False, "", False),
    ("0.00", 5.25, False, "", False),
    ("0.0", 5.25, False, "", True),  # 5.3 is shown
    ("0", 5.0, False, "", False),
    ("#,##0.00", 1234.5, False, "", False),
    ("#,##0,", 1234.0, True, "", False),  # thousands: 1 is shown
    ("0%", 0.5, True, "", False),  # 50 is shown
    (";;;", 5.0, True, "", False),  # nothing is shown
    ('0.0" mm"', 5.5, False, " mm", False),
    (r"0.0\ \c\m", 5.5, False, " cm", False),
    ("0.00;[Red]-0.00", -5.25, False, "", False),
    ("0.00;[Red]0.00", -5.25, False, "", True),  # the sign is not shown
    ("0.00_);(0.00)", -5.25, False, "", False),
    ('0.0;-0.0;"none"', 0.0, True, "", False),  # a word is shown
    ("# ?/?", 5.25, False, "", True),
    ("0.00E+00", 5.25, False, "", False),
    ("[$-409]0.0", 5.5, False, "", False),
]


@pytest.mark.parametrize(("code", "number", "is_disguise", "text", "hides"), FORMATS)
def test_what_a_number_format_shows(code, number, is_disguise, text, hides):
    shown = seen(number, code)
    assert shown.is_disguise == is_disguise
    assert shown.before + shown.behind == text
    if not is_disguise:
        assert hides_decimals(number, shown) == hides


def formatted(row: int, column: int, code: str):
    return lambda sheet: setattr(sheet.cell(row, column), "number_format", code)


def test_percentage_is_refused(tmp_path):
    folder = changed_book(tmp_path, formatted(2, 21, "0%"), "sites", {"sites": cell(2, "torque_ncm", "0.3")})
    assert tables()["sites"].columns[20] == "torque_ncm"
    assert only_problem(folder).startswith("study.xlsx, sheet sites, cell U2, torque_ncm: a number whose format shows")


def test_stored_number_counts_where_fewer_decimals_are_shown(tmp_path):
    folder = changed_book(tmp_path, formatted(2, 9, "0"), "sites")
    assert table_of(folder, "sites")["rbh_min_mm"].tolist() == [5.2, 6, 4.4, 7]
    assert decided(folder, "sites") == [("study.xlsx, sheet sites, cell I1", "stored_number_counts")]


def test_date_format_on_a_number_is_a_date(tmp_path):
    folder = changed_book(tmp_path, formatted(2, 3, "yyyy-mm-dd"))
    assert only_problem(folder).startswith("study.xlsx, sheet patients, cell C2, age_years: a date")


# ── CSV ───────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("separator", [",", ";"])
@pytest.mark.parametrize("line", ["sep={}\n", '"sep={}"\r\n', "SEP={}\n"])
def test_first_line_that_names_the_separator(tmp_path, separator, line):
    folder = write_study(tmp_path, {"patients": cells((3, "age_years", "x"))}, sep=separator)
    path = folder / "patients.csv"
    path.write_bytes(line.format(separator).encode() + path.read_bytes())
    # A spreadsheet does not show the line, so its rows count from the one below.
    assert only_problem(folder).startswith("patients.csv, row 3, age_years:")
    assert decided(folder) == [("patients.csv", "sep_line_names_the_separator")]


def test_first_line_that_names_another_separator(tmp_path):
    folder = write_study(tmp_path)
    path = folder / "patients.csv"
    path.write_text("sep=|\n" + path.read_text().replace(",", "|"))
    assert only_problem(folder).startswith("patients.csv, line 1: names a separator that is neither comma nor")
