"""A correction workbook as it came back: its sheets, and their rows by the titles of the columns."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from liftseries.base.errors import Problem, UsageError
from liftseries.base.outputs import FORMULA_SIGNS
from liftseries.intake.books.workbook_cells import FRONT, KEY, MARK, shown
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.files.grid import DATES, Oddity, Unreadable, is_blank, letters
from liftseries.intake.files.workbook_parts import Workbook
from liftseries.intake.files.workbooks import careful_records
from liftseries.study.schema import Table

ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")  # how some programs write what a workbook can't hold


@dataclass(frozen=True)
class ReturnedRow:
    """A row of the workbook; its cells by the title of their column, with the cell's own place."""

    place: str
    cells: Mapping[str, tuple[object, str]]

    def text(self, title: str) -> str:
        return returned(self.cells[title][0]) if title in self.cells else ""


def returned(cell: object) -> str:
    """A cell of the returned workbook as `shown` would have put it there."""
    text = shown(cell)
    return shown(ESCAPED.sub(lambda found: chr(int(found[1], 16)), text)) if "_x" in text else text


def read_book(path: Path) -> list[tuple[str, list[list[object]]]]:
    """Title and cells of each sheet; what is hidden or filtered away is there like the rest.

    Raises
    ------
    UsageError
        No such file, or no workbook.
    """
    if not path.is_file():
        raise UsageError(f"{path.name}: there is no such file. Name the correction workbook.")
    try:
        with Workbook(path, path.name) as book:
            return [(sheet.title, careful_records(book.sheet_xml(sheet))[0]) for sheet in book.sheets]
    except Unreadable as error:
        raise UsageError(f"{error.place or path.name}: {error.message}") from None
    except Exception:  # whatever the libraries stumble over, the file is at fault
        raise UsageError(f"{path.name}: is no workbook or a damaged one. Open and save it as .xlsx.") from None


def rows_of(table: Table, place: str, rows: list) -> tuple[list[ReturnedRow], list[Problem]]:
    """The rows of a table's sheet that have a key and stand there once, and what else was found.

    Parameters
    ----------
    table
    place : of the sheet
    rows : its cells
    """
    header_at = next((at for at, row in enumerate(rows) if {KEY, MARK} <= {returned(cell) for cell in row}), None)
    if header_at is None:
        message = f'has no header with "{KEY}" and "{MARK}". Put it back as it was written.'
        return [], [Problem(place, message)] if is_filled(rows) else []
    width = max(map(len, rows))
    titles = [returned(cell) for cell in rows[header_at]] + [""] * (width - len(rows[header_at]))
    below = list(enumerate(rows[header_at + 1 :], start=header_at + 2))
    positions, problems = _positions(titles, table, place, below)
    seen: dict[str, list[ReturnedRow]] = {}
    for number, row in below:
        cells = {
            title: (row[at], f"{place}, cell {letters(at)}{number}") for title, at in positions.items() if at < len(row)
        }
        if not all(is_blank(cell) for cell, _ in cells.values()):
            found = ReturnedRow(f"{place}, row {number}", cells)
            seen.setdefault(found.text(KEY), []).append(found)
    for copy in seen.pop("", ()):
        message = f'filled cells without "{KEY}". Enter a new row in the table\'s own file.'
        problems.append(Problem(copy.place, message))
    message = "the same row stands in the sheet more than once. Keep one of them."
    problems += [Problem(copy.place, message) for copies in seen.values() if len(copies) > 1 for copy in copies]
    return [copies[0] for copies in seen.values() if len(copies) == 1], problems


def is_filled(rows: list) -> bool:
    """Whether any cell of a sheet holds something."""
    return any(not is_blank(cell) for row in rows for cell in row)


def _positions(titles: list[str], table: Table, place: str, below: list) -> tuple[dict[str, int], list[Problem]]:
    """Where each column that can be taken stands; filled ones that can't are told."""
    known, problems = {*FRONT, MARK, *table.columns}, []
    for at, title in enumerate(titles):
        if title in known and titles.count(title) == 1:
            continue
        if any(at < len(row) and not is_blank(row[at]) for _, row in below):
            message = "filled cells in a column that was added, renamed or doubled. Clear or rename it."
            problems.append(Problem(f"{place}, column {letters(at)}", message))
    return {title: at for at, title in enumerate(titles) if title in known and titles.count(title) == 1}, problems


def cannot_be_taken(cell: object) -> str:
    """What has no value, a CSV can't hold, or a spreadsheet program would run; empty for anything else."""
    if isinstance(cell, Oddity):
        return "an error, a formula without a value, or a number that its format hides. Type the value itself."
    if isinstance(cell, DATES):
        return "a date; a program may have made it of a number. Give the cell the text format and type it again."
    text = returned(cell)
    if len(text) > 1 and text.startswith(FORMULA_SIGNS) and number_in(text) is None:
        return "a text that begins as a formula of a spreadsheet does, with = + - or @. Type it without that sign."
    return ""
