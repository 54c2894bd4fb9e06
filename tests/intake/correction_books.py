"""A study with faults whose right values are known, and hands that fill in its correction workbook."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import NamedTuple

import openpyxl
from openpyxl.worksheet.worksheet import Worksheet
from studies import cells

from liftseries.intake.books.correction_book import write_correction_book
from liftseries.intake.books.returned_book import Applied, apply_book
from liftseries.intake.books.workbook_cells import FILE, ROW
from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import KEY_FILE


class Fault(NamedTuple):
    """A cell of the small study, what is typed there, and what should stand there."""

    table: str
    row: int
    column: str
    typed: str
    right: object

    @property
    def place(self) -> str:
        return f"{self.table}.csv, row {self.row}, {self.column}"


# No fault hides another: each row has one, and none is in a key.
FAULTS = [
    Fault("patients", 2, "age_years", "fifty", "54"),
    Fault("patients", 3, "sex", "neither", "male"),
    Fault("patients", 4, "age_years", "", 47),
    Fault("sites", 2, "rbh_min_mm", "52", "5,2"),
    Fault("sites", 3, "tooth", "62", "26"),
    Fault("sites", 4, "graft", "", "none"),
    Fault("sites", 5, "rbh_max_mm", "7 to 8", 7.0),
    Fault("steps", 3, "finding", "felt", "closed"),
    Fault("steps", 6, "speed_rpm", "-700", " 700 "),
    Fault("visits", 2, "marginal_bone_mm", "=1+1", "0.1"),
    Fault("visits", 3, "status", "fine", "Functioning"),
    Fault("stops", 4, "marking_mm", "six", "6.0"),
]


def faulty(faults: Iterable[Fault] = FAULTS) -> dict[str, Callable]:
    """The faults as changes for `write_study`."""
    by_table: dict[str, list] = {}
    for fault in faults:
        by_table.setdefault(fault.table, []).append((fault.row, fault.column, fault.typed))
    return {table: cells(*places) for table, places in by_table.items()}


BOOKS: dict[tuple, tuple[bytes, bytes]] = {}  # the files of a study -> its correction workbook and its key


def written(study: Path, name: str = "corrections.xlsx") -> Path:
    """The study's correction workbook, beside its folder; made once for all studies of the same bytes."""
    path = study.parent / name
    state = tuple((file.name, file.read_bytes()) for file in sorted(study.iterdir()))
    if state not in BOOKS:
        write_correction_book(read_plan(study), path)
        BOOKS[state] = path.read_bytes(), (study / KEY_FILE).read_bytes()
    book, key = BOOKS[state]
    path.write_bytes(book)
    (study / KEY_FILE).write_bytes(key)
    return path


def applied(study: Path, book: Path, **more) -> Applied:
    return apply_book(read_plan(study), book, person="dm1", reason="typing error", **more)


def problems(study: Path) -> list[str]:
    return list(map(str, check_study(read_plan(study))[1]))


def edited(book: Path, edit: Callable[[openpyxl.Workbook], object]) -> Path:
    """The workbook after somebody has worked on it."""
    opened = openpyxl.load_workbook(book)
    edit(opened)
    opened.save(book)
    return book


def column_of(sheet: Worksheet, title: str) -> int:
    return next(cell.column for cell in sheet[1] if cell.value == title)


def row_of(sheet: Worksheet, row: int, file: str = "") -> int:
    """Where a row of a table's file stands in the workbook."""
    at_file, at_row = column_of(sheet, FILE), column_of(sheet, ROW)
    for number in range(2, sheet.max_row + 1):
        same_file = sheet.cell(number, at_file).value == (file or f"{sheet.title}.csv")
        if same_file and str(sheet.cell(number, at_row).value) == str(row):
            return number
    raise LookupError(f"{sheet.title}: no row {row}")


def cell_of(book: openpyxl.Workbook, table: str, row: int, column: str):
    sheet = book[table]
    return sheet.cell(row_of(sheet, row), column_of(sheet, column))


def typed(*values: tuple[str, int, str, object]) -> Callable[[openpyxl.Workbook], None]:
    """An edit that types a value into each (table, row, column)."""

    def edit(book: openpyxl.Workbook) -> None:
        for table, row, column, value in values:
            cell_of(book, table, row, column).value = value

    return edit


def righted(faults: Iterable[Fault]) -> Callable[[openpyxl.Workbook], None]:
    return typed(*((fault.table, fault.row, fault.column, fault.right) for fault in faults))
