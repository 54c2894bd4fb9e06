"""A correction workbook handed back: exactly the corrected cells close, whatever else was done to it."""

from __future__ import annotations

import datetime
import shutil

import openpyxl
import pytest
from correction_books import (
    FAULTS,
    applied,
    cell_of,
    column_of,
    edited,
    faulty,
    problems,
    righted,
    row_of,
    typed,
    written,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal
from spreadsheet_program import type_in, with_soffice
from studies import cell, cells, write_study

from liftseries.base.errors import StudyError, UsageError
from liftseries.cli import main
from liftseries.intake.books.workbook_cells import FRONT, KEY, MARK, OUT
from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import CORRECTIONS_FILE, KEY_FILE

CANARY = "quorvexil"


@pytest.fixture(scope="module")
def faulty_study(tmp_path_factory):
    """A folder with the study and its workbook, to be copied."""
    folder = tmp_path_factory.mktemp("faulty")
    written(write_study(folder / "study", faulty()))
    return folder


def bytes_of(study) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in study.iterdir() if path.name not in (CORRECTIONS_FILE, KEY_FILE)}


def places_of(faults) -> set[str]:
    return {fault.place for fault in faults}


def open_places(study) -> set[str]:
    return {line.partition(": ")[0] for line in problems(study)}


def assert_equal_tables(tables, expected):
    for name, table in expected.items():
        assert_frame_equal(tables[name], table)


# ── exactly the corrected entries close ─────────────────────────────────────────────────────────


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rounds=st.lists(st.sampled_from([0, 1, 2]), min_size=len(FAULTS), max_size=len(FAULTS)))
def test_exactly_the_corrected_entries_close(faulty_study, sound_tables, tmp_path_factory, rounds):
    """Some are corrected at once, some later in a second copy of the same workbook, some never."""
    folder = tmp_path_factory.mktemp("round") / "copy"
    shutil.copytree(faulty_study, folder)
    study, fresh = folder / "study", folder / "corrections.xlsx"
    before = bytes_of(study)
    left = set(FAULTS)
    for number in (1, 2):
        corrected = [fault for fault, when in zip(FAULTS, rounds, strict=True) if when == number]
        book = shutil.copy(fresh, folder / f"round-{number}.xlsx")
        result = applied(study, edited(book, righted(corrected)))
        left -= set(corrected)
        assert result.n_cells == len(corrected)
        assert not result.refused
        assert open_places(study) == places_of(left)
    assert bytes_of(study) == before
    if not left:
        assert_equal_tables(read_study(read_plan(study)).tables, sound_tables)


def test_all_corrected_gives_the_sound_study(study, sound_tables):
    applied(study, edited(written(study), righted(FAULTS)))
    intake = read_study(read_plan(study))
    assert_equal_tables(intake.tables, sound_tables)
    assert intake.set_aside.empty


def test_an_untouched_workbook_changes_nothing(study):
    before = open_places(study)
    result = applied(study, written(study))
    assert (result.lines, result.refused) == ([], [])
    assert not (study / CORRECTIONS_FILE).exists()
    assert open_places(study) == before


def test_handing_the_same_workbook_back_twice_adds_nothing(study):
    book = edited(written(study), righted(FAULTS))
    applied(study, book)
    lines = (study / CORRECTIONS_FILE).read_bytes()
    assert applied(study, book).lines == []
    assert (study / CORRECTIONS_FILE).read_bytes() == lines


def test_later_corrections_win_and_a_sound_cell_may_be_corrected_too(study):
    book = written(study)
    applied(study, edited(book, typed(("patients", 2, "age_years", "40"), ("patients", 2, "centre", "south"))))
    applied(study, edited(book, typed(("patients", 2, "age_years", "41"))))
    assert applied(study, edited(written(study, "new.xlsx"), righted(FAULTS[1:]))).refused == []
    patients = read_study(read_plan(study)).tables["patients"]
    assert patients.loc[0, ["centre", "age_years"]].tolist() == ["south", 41]


def test_a_cell_can_be_cleared(study):
    applied(study, edited(written(study), typed(("visits", 2, "marginal_bone_mm", None))))
    assert not any("marginal_bone_mm" in place for place in open_places(study))


def test_a_wrong_correction_is_a_new_fault_that_says_where_it_comes_from(study):
    applied(study, edited(written(study), typed(("patients", 2, "age_years", "7"))))
    assert next(line for line in problems(study) if "age_years" in line).startswith(
        f"patients.csv, row 2, age_years as corrected in {CORRECTIONS_FILE}, row 2: 7 is below 16"
    )


def test_command_tells_what_was_taken_and_what_remains(study, capsys):
    book = edited(written(study), righted(FAULTS[:-1]))
    who = ["--person", "dm1", "--reason", "typing error"]
    assert main(["check", str(study), "--apply", str(book), *who]) == 1
    said = capsys.readouterr()
    told = said.out.splitlines()
    assert told[:2] == [
        f"11 cells corrected and 0 rows left out, in {CORRECTIONS_FILE}; 0 entries not taken.",
        "1 problem of 1 cause, the most blocking first.",
    ]
    assert "11 decisions on what is not simply what it shows; --decisions FILE.csv lists them:" in told
    assert f"11 lines of {CORRECTIONS_FILE}: 11 applied." in told
    book = edited(written(study, "rest.xlsx"), righted(FAULTS[-1:]))
    assert main(["check", str(study), "--apply", str(book), *who]) == 0
    assert "No problem found." in capsys.readouterr().out


# ── rows left out ───────────────────────────────────────────────────────────────────────────────


def test_row_left_out_is_counted_and_listed(tmp_path):
    study = write_study(tmp_path / "study", {"patients": cell(2, "age_years", "7"), "steps": cell(8, "finding", "x?")})
    book = edited(written(study), typed(("steps", 8, OUT, "Leave out")))
    assert applied(study, book).n_left_out == 1
    applied(study, edited(book, typed(("patients", 2, "age_years", "54"))))
    intake = read_study(read_plan(study))
    counts = intake.counts.set_index("table").loc["steps"]
    assert (counts["read"], counts["kept"], counts["set_aside"]) == (7, 6, 1)
    assert intake.set_aside[["table", "row", "rule", "message"]].to_numpy().tolist() == [
        ["steps", 8, "left_out", f"left out by {CORRECTIONS_FILE}, row 2."]
    ]


def test_what_belongs_to_a_row_left_out_is_listed_and_goes_only_where_somebody_consents(study):
    book = edited(written(study), typed(("sites", 4, OUT, "leave out"), ("sites", 2, "rbh_min_mm", "5.2")))
    with pytest.raises(StudyError) as raised:
        applied(study, book)
    assert [str(problem) for problem in raised.value.problems] == [
        "sites.csv, row 4: 2 rows of steps, 2 rows of visits would be left out with it. Say --yes to leave them out "
        "too. Nothing of the workbook was taken over."
    ]
    assert not (study / CORRECTIONS_FILE).exists()
    asked = []
    result = applied(study, book, consent=lambda told: asked.append(told) or True)
    assert asked == [[("sites.csv, row 4", "2 rows of steps, 2 rows of visits")]]
    assert (result.n_cells, result.n_left_out) == (1, 5)
    assert not any("site_id" in place for place in open_places(study))


def test_left_out_on_the_command_line_asks_and_gives_the_list_to_a_script(study, capsys):
    book = edited(written(study), typed(("sites", 4, OUT, "leave out")))
    command = ["check", str(study), "--apply", str(book), "--person", "dm1", "--reason", "no consent"]
    assert main(command) == 1
    assert "sites.csv, row 4: 2 rows of steps, 2 rows of visits would be left out with it" in capsys.readouterr().err
    assert not (study / CORRECTIONS_FILE).exists()
    main([*command, "--yes"])
    assert f"0 cells corrected and 5 rows left out, in {CORRECTIONS_FILE}" in capsys.readouterr().out
    main([*command, "--yes"])
    assert "0 cells corrected and 0 rows left out" in capsys.readouterr().out


def test_any_other_word_in_its_place_is_refused(study):
    result = applied(study, edited(written(study), typed(("sites", 4, OUT, CANARY))))
    assert [line.message for line in result.refused] == [
        "neither empty nor `leave out`. Write that, or clear the cell."
    ]


# ── what else people do to a workbook ───────────────────────────────────────────────────────────


def reordered(book):
    """Rows turned round with blank ones between, columns turned round, one hidden, a filter set."""
    for sheet in book.worksheets[1:]:
        rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
        header, body = rows[0], rows[:0:-1]
        sheet.delete_rows(1, sheet.max_row)
        sheet.append(header[::-1])
        for row in body:
            sheet.append([])
            sheet.append(row[::-1])
        sheet.row_dimensions[2].hidden = True
        sheet.column_dimensions["B"].hidden = True


def test_sorted_filtered_and_moved_sheets_are_the_same(study, sound_tables):
    book = edited(written(study), righted(FAULTS))
    result = applied(study, edited(book, reordered))
    assert result.refused == []
    assert_equal_tables(read_study(read_plan(study)).tables, sound_tables)


@pytest.mark.parametrize(
    ("entered", "expected"),
    [("5,2", 5.2), (" 5.2 ", 5.2), (5.2, 5.2), (5, 5.0), ("\u00a05,2", 5.2), ("5.20", 5.2)],
)
def test_numbers_as_people_type_them(study, entered, expected):
    book = edited(written(study), righted(FAULTS))
    applied(study, edited(book, typed(("sites", 2, "rbh_min_mm", entered))))
    assert read_study(read_plan(study)).tables["sites"]["rbh_min_mm"][0] == expected


@pytest.mark.parametrize(
    ("entered", "told"),
    [
        ("=1+4", "a formula without a value"),
        (datetime.datetime(2026, 6, 1), "a date; a program may have made it of a number"),
        ("@SUM(1)", "begins as a formula"),
        ("-5+10", "begins as a formula"),
    ],
)
def test_what_cannot_be_taken_is_refused_at_its_place(study, entered, told):
    book = edited(written(study), typed(("sites", 2, "rbh_min_mm", entered)))
    place = cell_of(openpyxl.load_workbook(book), "sites", 2, "rbh_min_mm").coordinate
    result = applied(study, book)
    assert result.lines == []
    assert [line.place for line in result.refused] == [f"corrections.xlsx, sheet sites, cell {place}"]
    assert told in result.refused[0].message


def test_what_points_to_a_person_is_refused(study):
    result = applied(study, edited(written(study), typed(("patients", 2, "centre", "jo@clinic.example"))))
    assert result.lines == []
    assert "an e-mail address" in result.refused[0].message
    assert "jo@" not in str(result.refused[0])


def renamed_column(book):
    book["sites"].cell(1, column_of(book["sites"], "rbh_min_mm")).value = CANARY


def doubled_row(book):
    sheet = book["sites"]
    sheet.append([cell.value for cell in sheet[row_of(sheet, 2)]])


def new_row(book):
    book["sites"].append([None, None, None, None, CANARY, "p1"])


def renamed_sheet(book):
    book["sites"].title = CANARY


def no_header(book):
    book["sites"].delete_rows(1)


def other_mark(book):
    cell_of(book, "sites", 2, MARK).value = CANARY


def other_key(book):
    cell_of(book, "sites", 2, KEY).value = CANARY


def key_of_another_row(book):
    cell_of(book, "sites", 2, KEY).value = "s9"


def note_beside(book):
    sheet = book["sites"]
    sheet.cell(2, sheet.max_column + 2).value = CANARY


@pytest.mark.parametrize(
    ("damage", "told", "n_cells"),
    [
        (renamed_column, "a column that was added, renamed or doubled", 3),
        (note_beside, "a column that was added, renamed or doubled", 4),
        (doubled_row, "the same row stands in the sheet more than once", 3),
        (new_row, 'filled cells without "key of the row"', 4),
        (renamed_sheet, "carries the name of no table", 0),
        (no_header, "has no header", 0),
        (other_mark, "has changed in its file since", 3),
        (other_key, "is not there", 3),
        (key_of_another_row, "is not there", 3),
    ],
)
def test_damage_is_told_and_nothing_beside_it_is_lost(study, damage, told, n_cells):
    of_sites = [fault for fault in FAULTS if fault.table == "sites"]
    book = edited(edited(written(study), righted(FAULTS)), damage)
    result = applied(study, book)
    assert any(told in line.message for line in result.refused)
    assert sum(line.table == "sites" for line in result.lines) == n_cells <= len(of_sites)
    assert result.n_cells == n_cells + len(FAULTS) - len(of_sites)
    assert CANARY not in "\n".join(map(str, result.refused))


def test_text_cells_stand_in_no_message(study):
    """Cells of every column that holds words or numbers, levels and text alike."""
    book = openpyxl.load_workbook(written(study))
    for sheet in book.worksheets[1:]:
        for number in range(2, sheet.max_row + 1):
            for at in range(len(FRONT) + 1, sheet.max_column):
                sheet.cell(number, at).value = f"={CANARY}" if number % 2 else CANARY
    book.save(study.parent / "canary.xlsx")
    result = applied(study, study.parent / "canary.xlsx")
    told = "\n".join(map(str, result.refused)).lower()
    assert len(result.refused) > 20
    assert result.n_cells > 20
    assert CANARY not in told
    assert CANARY not in "\n".join(problems(study)).lower()


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(flips=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=4), kept=st.floats(0.2, 1))
def test_a_damaged_workbook_is_told_as_the_users(faulty_study, flips, kept):
    """Bytes changed, the end cut off: either nothing of it mattered, or it is wrong use."""
    content = bytearray((faulty_study / "corrections.xlsx").read_bytes())
    for at, byte in flips:
        content[int(at * (len(content) - 1))] = byte
    path = faulty_study / "damaged.xlsx"
    path.write_bytes(content if kept > 0.6 else content[: int(kept * len(content))])
    try:
        lines, told = applied(faulty_study / "study", path).lines, "damaged.xlsx"
    except UsageError as error:
        lines, told = [], str(error)
    assert lines == []
    assert told.startswith("damaged.xlsx")


@pytest.mark.parametrize("content", [None, b"", b"no workbook", b"PK\x03\x04 cut off"])
def test_no_workbook_is_wrong_use(study, content):
    path = study.parent / "returned.xlsx"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(UsageError, match=r"returned\.xlsx"):
        applied(study, path)


def test_a_workbook_of_something_else_is_wrong_use(study):
    path = study.parent / "other.xlsx"
    openpyxl.Workbook().save(path)
    with pytest.raises(UsageError, match="holds no rows to correct"):
        applied(study, path)


# ── tables that change in the meantime ──────────────────────────────────────────────────────────


def retyped(study, table, before, after):
    path = study / f"{table}.csv"
    text = path.read_text(encoding="utf-8")
    assert text.count(before) == 1
    path.write_text(text.replace(before, after), encoding="utf-8")


def test_row_changed_since_the_workbook_was_written_is_refused(study):
    book = edited(written(study), righted(FAULTS))
    retyped(study, "patients", "p2,north,61", "p2,north,62")
    result = applied(study, book)
    assert [line.message for line in result.refused] == [
        "the row has changed in its file since, or is not there. Write a new workbook and correct it there."
    ]
    assert result.n_cells == len(FAULTS) - 1
    assert open_places(study) == {"patients.csv, row 3, sex"}


def test_a_cell_that_changed_since_it_was_corrected_is_told_and_not_corrected(study):
    applied(study, edited(written(study), righted(FAULTS)))
    retyped(study, "patients", "p2,north,61,neither", "p2,south,61,none")
    told = problems(study)
    assert [line.partition(": ")[0] for line in told] == ["patients.csv, row 3, sex", f"{CORRECTIONS_FILE}, row 3"]
    assert "patients.csv, row 3: sex of the row has changed since it was corrected" in told[1]


def test_a_sorted_file_keeps_all_its_corrections(study, sound_tables):
    applied(study, edited(written(study), righted(FAULTS)))
    lines = (study / "sites.csv").read_text(encoding="utf-8").splitlines()
    (study / "sites.csv").write_text("\n".join([lines[0], *lines[:0:-1]]) + "\n", encoding="utf-8")
    assert problems(study) == []
    sites = read_study(read_plan(study)).tables["sites"].sort_values("site_id", ignore_index=True)
    assert_frame_equal(sites, sound_tables["sites"])


def test_a_file_sorted_and_extended_while_the_workbook_was_away_takes_it_all_the_same(study, sound_tables):
    book = edited(written(study), righted(FAULTS))
    lines = (study / "patients.csv").read_text(encoding="utf-8").splitlines()
    lines = [lines[0], "p9,north,50,male,never,no,no", *lines[:0:-1]]
    (study / "patients.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    result = applied(study, book)
    assert (result.n_cells, result.refused) == (len(FAULTS), [])
    assert problems(study) == []
    patients = read_study(read_plan(study)).tables["patients"].sort_values("patient_id", ignore_index=True)
    assert_frame_equal(patients[:3], sound_tables["patients"])


def test_a_table_saved_in_another_form_keeps_its_corrections(tmp_path, sound_tables):
    """Column order, separator, quotes and byte-order mark are no content."""
    study = write_study(tmp_path / "study", faulty())
    applied(study, edited(written(study), righted(FAULTS)))
    changes = faulty()
    changes["sites"] = lambda sites: faulty()["sites"](sites)[sorted(sites)]
    write_study(study, changes, sep=";", quoting=1, encoding="utf-8-sig")
    tables = read_study(read_plan(study)).tables
    assert_equal_tables(tables, sound_tables)


def test_nothing_is_added_to_corrections_that_have_problems(study):
    book = written(study)
    (study / CORRECTIONS_FILE).write_text("table,file\nsites,sites.csv\n", encoding="utf-8")
    with pytest.raises(StudyError, match="the columns must be"):
        applied(study, book)
    assert (study / CORRECTIONS_FILE).read_text(encoding="utf-8") == "table,file\nsites,sites.csv\n"


# ── through a spreadsheet program ───────────────────────────────────────────────────────────────


@with_soffice
@pytest.mark.parametrize("language", ["en-GB", "de-DE"])
def test_corrected_in_libreoffice(tmp_path, sound_tables, language):
    """Typed into the program, in a language with a decimal comma too; odd texts beside come back as they were."""
    odd = {"patients": cells((2, "centre", "1.6"), (3, "centre", "00012"), (4, "centre", "1e3"))}
    study = write_study(
        tmp_path / "study", faulty() | {"patients": lambda table: odd["patients"](faulty()["patients"](table))}
    )
    book = written(study)
    sheets = openpyxl.load_workbook(book)
    type_in(
        book,
        [
            (fault.table, cell.column - 1, cell.row, str(fault.right))
            for fault in FAULTS
            for cell in [cell_of(sheets, fault.table, fault.row, fault.column)]
        ],
        language,
    )
    result = applied(study, edited(book, reordered))
    assert (result.n_cells, result.refused) == (len(FAULTS), [])
    tables = read_study(read_plan(study)).tables
    assert tables["patients"]["centre"].tolist() == ["1.6", "00012", "1e3"]
    assert_equal_tables(
        tables, sound_tables | {"patients": sound_tables["patients"].assign(centre=["1.6", "00012", "1e3"])}
    )
