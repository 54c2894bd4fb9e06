"""The same study in every dress gives the same tables; what cannot be read is refused with its place."""

from __future__ import annotations

import datetime
import zipfile

import openpyxl
import pandas as pd
import pytest
from studies import added, as_typed, cell, cells, changed, tables, write_plan, write_study, write_workbook

from liftseries.base.errors import StudyError
from liftseries.intake.study import check_study, read_drills, read_study
from liftseries.study.plan import read_plan


def problems(folder) -> list[str]:
    return [str(problem) for problem in check_study(read_plan(folder))[1]]


def only_problem(folder) -> str:
    found = problems(folder)
    assert len(found) == 1, found
    return found[0]


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The study as comma-separated files."""
    return read_study(read_plan(write_study(tmp_path_factory.mktemp("plain"))))


def assert_same_tables(found, expected):
    assert list(found) == list(expected)
    for name in expected:
        pd.testing.assert_frame_equal(found[name], expected[name], check_exact=True)


# ── messy but fine ────────────────────────────────────────────────────────────────────────────────


def with_decimal_commas(table):
    return table.map(lambda text: text.replace(".", ","))


DRESSES = {
    "semicolon": {"sep": ";"},
    "byte-order mark": {"encoding": "utf-8-sig"},
    "CRLF": {"lineterminator": "\r\n"},
    "CR": {"lineterminator": "\r"},
    "everything quoted": {"quoting": 1},
    "semicolon, byte-order mark and CRLF": {"sep": ";", "encoding": "utf-8-sig", "lineterminator": "\r\n"},
}


@pytest.mark.parametrize("options", DRESSES.values(), ids=DRESSES)
def test_dress_of_csv_does_not_matter(tmp_path, plain, options):
    assert_same_tables(read_study(read_plan(write_study(tmp_path, **options))).tables, plain.tables)


@pytest.mark.parametrize("separator", [",", ";"])
def test_decimal_commas(tmp_path, plain, separator):
    """In comma-separated files they stand in quotes, which pandas sets of itself."""
    folder = write_study(tmp_path, {name: with_decimal_commas for name in tables()}, sep=separator)
    assert_same_tables(read_study(read_plan(folder)).tables, plain.tables)


@pytest.mark.parametrize("ending", ["xlsx", "parquet"])
def test_workbook_and_parquet_give_the_same_tables(tmp_path, plain, ending):
    assert_same_tables(read_study(read_plan(write_study(tmp_path, ending=ending))).tables, plain.tables)


def test_workbook_with_numbers_as_texts(tmp_path, plain):
    folder = write_study(tmp_path, ending="xlsx")
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in tables().items():
        sheet = book.create_sheet(name)
        for row in [list(table.columns), *table.to_numpy().tolist()]:
            sheet.append([None if text == "" else text for text in row])
    book.save(folder / "study.xlsx")
    assert_same_tables(read_study(read_plan(folder)).tables, plain.tables)


def test_parquet_with_categories_and_true_false(tmp_path, plain):
    def typed(table):
        table = as_typed(table)
        return table.assign(sex=table["sex"].astype("category"), diabetes=table["diabetes"] == "yes")

    folder = write_study(tmp_path, ending="parquet")
    typed(tables()["patients"]).to_parquet(folder / "patients.parquet")
    assert_same_tables(read_study(read_plan(folder)).tables, plain.tables)


def test_blanks_letter_case_order_and_empty_lines_do_not_matter(tmp_path, plain):
    def messy(table):
        table = table[table.columns[::-1]]
        table.columns = [f"\u00a0 {name.upper()} " for name in table.columns]
        return table.map(lambda text: f" \u00a0{text}\u00a0 " if text else text)

    def shouting(patients):
        return messy(patients.assign(sex=patients["sex"].str.upper(), smoking=patients["smoking"].str.title()))

    folder = write_study(tmp_path, {name: shouting if name == "patients" else messy for name in tables()})
    for path in folder.glob("*.csv"):
        header, *rows = path.read_text(encoding="utf-8").splitlines()
        blank = "," * header.count(",")
        path.write_text("\n".join([header + ",,", blank, *(row + ",," for row in rows), "", blank, ""]))
    assert_same_tables(read_study(read_plan(folder)).tables, plain.tables)


def test_a_file_a_centre_is_stacked_in_the_order_of_the_plan(tmp_path, plain):
    folder = write_study(tmp_path)
    sites = tables()["sites"]
    sites.iloc[:2].to_csv(folder / "b.csv", index=False)
    write_workbook(folder / "a.xlsx", {"anything": sites.iloc[2:]})  # the only sheet
    files = {name: f"{name}.csv" for name in tables()} | {"sites": ["b.csv", "a.xlsx"]}
    write_plan(folder, files)
    intake = read_study(read_plan(folder))
    assert_same_tables(intake.tables, plain.tables)
    assert intake.counts.query("table == 'sites'")["read"].tolist() == [2, 2]


def test_absent_optional_columns_come_out_missing_and_own_columns_last(tmp_path):
    own = "extra_columns: {sites: {flapless: {type: category, levels: [no, yes]}, cone: {type: integer}}}"
    folder = write_study(tmp_path, {"sites": lambda sites: sites.assign(cone="3", flapless="Yes")}, plan=own)
    sites = read_study(read_plan(folder)).tables["sites"]
    assert sites.columns[-2:].tolist() == ["flapless", "cone"]
    assert sites["flapless"].cat.categories.tolist() == ["no", "yes"]
    assert sites["cone"].tolist() == [3] * 4
    assert sites["membrane_mm"].isna().all()
    assert sites["membrane_mm"].dtype == float


def test_dtypes_levels_and_default_survive_parquet(tmp_path, plain):
    sites = plain.tables["sites"]
    assert sites["tooth"].dtype == "Int64"
    assert sites["graft"].cat.categories[0] == "none"
    # An empty placement means same_day.
    assert sites["placement"].tolist() == ["same_day", "same_day", "staged", "none"]
    for name, table in plain.tables.items():
        table.to_parquet(tmp_path / name)
        pd.testing.assert_frame_equal(pd.read_parquet(tmp_path / name), table)


def test_numbers_in_text_columns_are_texts_without_decimals(tmp_path):
    def numbered(table):
        return table.assign(patient_id=table["patient_id"].str[1:])

    folder = write_study(tmp_path, {"patients": numbered, "sites": numbered}, ending="xlsx")
    assert read_study(read_plan(folder)).tables["patients"]["patient_id"].tolist() == ["1", "2", "3"]


def test_tables_that_may_be_missing_or_empty(tmp_path):
    missing = read_study(read_plan(write_study(tmp_path / "a", {"steps": None, "visits": None})))
    assert list(missing.tables) == ["patients", "sites", "instruments", "stops"]
    header_only = {name: lambda table: table.iloc[:0] for name in ("steps", "visits", "stops")}
    empty = read_study(read_plan(write_study(tmp_path / "b", header_only)))
    assert [len(empty.tables[name]) for name in header_only] == [0, 0, 0]
    assert empty.tables["steps"]["step_no"].dtype == "Int64"


def test_drills_alone_are_read_without_the_other_tables(tmp_path):
    folder = write_study(tmp_path, {"patients": cell(2, "age_years", "old")})
    instruments, stops = read_drills(read_plan(folder))
    assert instruments["instrument_id"].tolist() == ["hand-12", "probe-13", "wide-13"]
    assert stops["marking_mm"].tolist() == [6, 8, 9]
    write_study(tmp_path, {"stops": cell(2, "marking_mm", "-1")}, plan="invalid_rows: set_aside")
    with pytest.raises(StudyError, match=r"stops.csv, row 2, marking_mm: -1 is below 0"):
        read_drills(read_plan(folder))


# ── what cannot be read ───────────────────────────────────────────────────────────────────────────


def test_missing_file(tmp_path):
    folder = write_study(tmp_path)
    (folder / "sites.csv").unlink()
    assert only_problem(folder) == (
        "study.yaml, tables, sites: sites.csv: there is no such file. Correct the name or add the file."
    )


def test_utf_16(tmp_path):
    folder = write_study(tmp_path, encoding="utf-16")
    found = problems(folder)
    assert len(found) == 6
    assert found[0].startswith("patients.csv, line 1: byte 1 is not UTF-8; the file is UTF-16.")


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("line_end", [b"\n", b"\r\n", b"\r"])
def test_byte_that_is_not_utf_8_is_told_by_offset_and_line(tmp_path, mark, line_end):
    folder = write_study(tmp_path)
    path = folder / "patients.csv"
    data = mark + path.read_bytes().replace(b"north", b"n\xf6rth").replace(b"\n", line_end)
    path.write_bytes(data)
    offset = data.index(b"\xf6") + 1
    assert only_problem(folder).startswith(f"patients.csv, line 2: byte {offset} is not UTF-8.")


@pytest.mark.parametrize(
    ("content", "place", "words"),
    [
        (b"", "patients.csv", "is empty"),
        (b"\n \n , \n", "patients.csv", "is empty"),
        (b"patient_id,centre\np1,\0", "patients.csv, line 2", "byte 22 is zero"),
        (b'patient_id,centre\np1,"north\np2,south\n', "patients.csv, line 3", "quotation mark"),
        (b"patient_id\tcentre\np1\tnorth\n", "patients.csv, row 1", "tabs"),
    ],
)
def test_csv_that_is_no_table(tmp_path, content, place, words):
    folder = write_study(tmp_path)
    (folder / "patients.csv").write_bytes(content)
    message = only_problem(folder)
    assert message.startswith(f"{place}: ")
    assert words in message


def test_other_formats_are_refused(tmp_path):
    folder = write_study(tmp_path)
    (folder / "patients.csv").rename(folder / "patients.ods")
    write_plan(folder, {name: f"{name}.csv" for name in tables()} | {"patients": "patients.ods"})
    assert only_problem(folder).startswith("patients.ods: an OpenDocument spreadsheet, which is not read here.")


@pytest.mark.parametrize("data", [b"", b"no workbook", b"PK\x03\x04 half a zip"])
@pytest.mark.parametrize("ending", ["xlsx", "parquet"])
def test_damaged_files(tmp_path, ending, data):
    folder = write_study(tmp_path)
    (folder / f"patients.{ending}").write_bytes(data)
    write_plan(folder, {name: f"{name}.csv" for name in tables()} | {"patients": f"patients.{ending}"})
    assert only_problem(folder).startswith(f"patients.{ending}: is no ")


def test_encrypted_workbook(tmp_path):
    folder = write_study(tmp_path)
    (folder / "patients.xlsx").write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(512))
    write_plan(folder, {name: f"{name}.csv" for name in tables()} | {"patients": "patients.xlsx"})
    assert only_problem(folder).startswith("patients.xlsx: is encrypted or of the old .xls kind.")


def test_sheets(tmp_path):
    folder = write_study(tmp_path, ending="xlsx")
    files = {name: f"study.xlsx#{name}" for name in tables()}
    write_plan(folder, files | {"patients": "study.xlsx", "sites": "study.xlsx# SITES"})
    assert problems(folder) == []  # a sheet named like the table, in any letter case
    write_plan(folder, files | {"patients": "study.xlsx#people"})
    assert "the workbook has no sheet people" in only_problem(folder)
    write_workbook(folder / "study.xlsx", {"Ms Someone": tables()["patients"], "Mr Someone": tables()["sites"]})
    write_plan(folder, dict.fromkeys(tables(), "study.xlsx"))
    found = problems(folder)
    assert all("2 sheets, none called" in message for message in found)
    assert "Someone" not in "".join(found)
    write_plan(folder, {name: "patients.csv#x" for name in tables()})
    (folder / "patients.csv").write_text("patient_id\n")
    assert "only a workbook (.xlsx) has sheets" in problems(folder)[0]


def test_workbook_cells_of_the_wrong_kind(tmp_path):
    folder = write_study(tmp_path, ending="xlsx")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    sheet = book["patients"]
    header = [cell.value for cell in sheet[1]]
    age, sex, centre = (header.index(name) + 1 for name in ("age_years", "sex", "centre"))
    sheet.cell(2, age).value = datetime.date(1961, 5, 4)
    sheet.cell(2, sex).value = True
    sheet.cell(3, age).value = True
    sheet.cell(3, sex).value = "=A1"  # never calculated, so no value is stored
    sheet.cell(4, age).value = "#DIV/0!"
    sheet.cell(4, age).data_type = "e"
    sheet.cell(4, centre).value = datetime.datetime(2020, 3, 14)
    book.save(folder / "study.xlsx")
    intake, found = check_study(read_plan(folder))
    assert [(problem.place, problem.message.split(".")[0]) for problem in found] == [
        ("study.xlsx, sheet patients, cell C2, age_years", "a date where a whole number is due"),
        (
            "study.xlsx, sheet patients, cell D2, sex",
            "true or false that is none of female, male, other, unknown",
        ),
        ("study.xlsx, sheet patients, cell C3, age_years", "true or false where a whole number is due"),
        ("study.xlsx, sheet patients, cell D3, sex", "a formula without a stored value"),
        ("study.xlsx, sheet patients, cell B4, centre", "a date where a text is due"),
        (
            "study.xlsx, sheet patients, cell C4, age_years",
            "an error of the workbook where a whole number is due",
        ),
    ]
    assert intake.findings["value_class"].tolist() == [
        "date",
        "boolean",
        "boolean",
        "formula",
        "date",
        "error",
    ]


def test_stored_values_of_formulas_are_used(tmp_path, plain):
    """A workbook as a spreadsheet program saves it: the formula with its last value."""
    folder = write_study(tmp_path, ending="xlsx")
    with zipfile.ZipFile(folder / "study.xlsx") as parts:
        contents = {name: parts.read(name) for name in parts.namelist()}
    sheet = contents["xl/worksheets/sheet1.xml"]
    assert b"<v>54</v>" in sheet
    contents["xl/worksheets/sheet1.xml"] = sheet.replace(b"<v>54</v>", b"<f>50+4</f><v>54</v>")
    with zipfile.ZipFile(folder / "study.xlsx", "w") as parts:
        for name, data in contents.items():
            parts.writestr(name, data)
    assert_same_tables(read_study(read_plan(folder)).tables, plain.tables)


def test_parquet_columns_that_are_no_cells(tmp_path):
    folder = write_study(tmp_path, ending="parquet")
    as_typed(tables()["patients"]).assign(centre=[["a"], ["b"], ["c"]]).to_parquet(folder / "patients.parquet")
    assert only_problem(folder).startswith("patients.parquet, column 2 (B): holds neither text, numbers")


def test_rows_count_as_a_spreadsheet_shows_them(tmp_path):
    """A line break within quotes is no new row, an empty line is one."""
    folder = write_study(tmp_path, {"patients": cells((2, "centre", "north\nwing"), (4, "age_years", "old"))})
    assert only_problem(folder).startswith("patients.csv, row 4, age_years:")
    text = (folder / "patients.csv").read_text().replace("\np2", "\n\n\np2")
    (folder / "patients.csv").write_text(text)
    assert only_problem(folder).startswith("patients.csv, row 6, age_years:")


@pytest.mark.parametrize(
    ("ending", "place"),
    [
        ("csv", "sites.csv, row 3, tooth"),
        ("xlsx", "study.xlsx, sheet sites, cell F3, tooth"),
        ("parquet", "sites.parquet, row 3, tooth"),
    ],
)
def test_places_in_each_format(tmp_path, ending, place):
    folder = write_study(tmp_path, {"sites": cell(3, "tooth", "19")}, ending=ending)
    assert only_problem(folder) == f"{place}: 19 is none of 14, 15, 16, 17, 18, 24, 25, 26, 27, 28. Correct the cell."


# ── headers ───────────────────────────────────────────────────────────────────────────────────────


def renamed(old, new):
    return lambda table: table.rename(columns={old: new})


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            renamed("rbh_min_mm", "rbh_minimum"),  # missing and unknown are one fault
            'sites.csv, row 1, column 9 (I): not a known column; did you mean "rbh_min_mm"?',
        ),
        (
            renamed("guide_offset_mm", "guide_ofset"),
            'row 1, column 16 (P): not a known column; did you mean "guide',
        ),
        (lambda sites: sites.drop(columns="tooth"), "sites.csv, row 1: a column is missing: tooth. Add it, or give"),
        (
            lambda sites: sites.drop(columns="guide_offset_mm"),  # needed by rows, but told once
            "sites.csv, row 1: a column is missing: guide_offset_mm; row 2 needs it (guided sites only). Add it.",
        ),
        (
            lambda sites: sites.assign(**{"Zzyzx": "1"}),
            "sites.csv, row 1, column 24 (X): not a known column. Correct it, or declare it",
        ),
        (
            renamed("protocol", ""),  # what lost its name is not missing as well
            "sites.csv, row 1, column 8 (H): filled cells under no column name. Is it protocol? Name the column",
        ),
        (
            renamed("guide_offset_mm", ""),
            "sites.csv, row 1, column 16 (P): filled cells under no column name. Name the column",
        ),
        (
            renamed("torque_ncm", " TOOTH "),
            "sites.csv, row 1, column 21 (U): tooth stands twice in the header.",
        ),
    ],
)
@pytest.mark.parametrize("invalid_rows", ["stop", "set_aside"])
def test_header_faults_stop_the_run_and_are_told_once(tmp_path, change, message, invalid_rows):
    folder = write_study(tmp_path, {"sites": change}, plan=f"invalid_rows: {invalid_rows}")
    with pytest.raises(StudyError) as error:
        read_study(read_plan(folder))
    told = [str(problem) for problem in error.value.problems]
    assert len(told) == 1
    assert message in told[0]
    assert "Zzyzx" not in told[0]
    assert "zzyzx" not in told[0]


def test_header_of_a_workbook_is_told_by_cell(tmp_path):
    folder = write_study(tmp_path, {"sites": renamed("rbh_min_mm", "rbh_minimum")}, ending="xlsx")
    assert only_problem(folder).startswith("study.xlsx, sheet sites, cell I1: not a known column;")


def test_missing_key_column_brings_no_dangling_references(tmp_path):
    folder = write_study(tmp_path, {"patients": lambda table: table.drop(columns="patient_id")})
    assert only_problem(folder).startswith("patients.csv, row 1: a column is missing: patient_id.")


@pytest.mark.parametrize("separator", [",", ";"])
def test_row_longer_than_the_header(tmp_path, separator):
    folder = write_study(tmp_path, sep=separator)
    path = folder / "patients.csv"
    lines = path.read_text().splitlines()
    path.write_text("\n".join([lines[0], lines[1], f"{lines[2]}{separator}more", lines[3]]))
    message = only_problem(folder)
    assert message.startswith("patients.csv, row 3: 8 cells under 7 column names.")


def test_unquoted_decimal_comma_between_commas_is_seen_though_no_filled_cell_is_too_many(tmp_path):
    folder = write_study(tmp_path)
    path = folder / "visits.csv"
    path.write_text(path.read_text().replace("s2,14,patient_died,,,", "s2,14,2,patient_died,,,"))
    assert only_problem(folder).startswith("visits.csv, row 6: 7 cells under 6 column names.")


def test_tables_without_rows(tmp_path):
    folder = write_study(tmp_path, {"patients": lambda table: table.iloc[:0]})
    assert only_problem(folder) == "patients.csv: holds no rows. Enter one row a patient."


def test_all_problems_of_all_tables_come_in_file_order(tmp_path):
    folder = write_study(
        tmp_path,
        {
            "stops": cell(3, "marking_mm", "x"),
            "patients": cells((4, "age_years", "x"), (2, "sex", "x"), (2, "age_years", "x")),
            "visits": added({"site_id": "s3", "months": "-1"}),
        },
    )
    assert [message.split(":")[0] for message in problems(folder)] == [
        "patients.csv, row 2, age_years",
        "patients.csv, row 2, sex",
        "patients.csv, row 4, age_years",
        "visits.csv, row 9, months",
        "stops.csv, row 3, marking_mm",
    ]


def test_changed_leaves_the_original_alone():
    changed({"patients": cell(2, "sex", "x")})
    assert tables()["patients"].at[0, "sex"] == "female"


def test_own_whole_number_column_may_have_levels(tmp_path):
    own = "extra_columns: {sites: {grade: {type: integer, levels: [1, 2, 3]}}}"
    folder = write_study(tmp_path, {"sites": lambda sites: sites.assign(grade=["1", "2", "3", ""])}, plan=own)
    assert problems(folder) == []
    assert read_study(read_plan(folder)).tables["sites"]["grade"].tolist()[:3] == [1, 2, 3]
