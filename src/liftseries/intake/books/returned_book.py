"""The correction workbook handed back: which cells were changed, and the lines of corrections.csv they make.

A row is known again by its table, file, row number and fingerprint, wherever it now stands; a column by its name.
What was changed is told by comparing with the row as the workbook was written, which the file and the lines of
corrections.csv for it give again. What cannot be taken is refused with its place and does not hold up the rest.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from liftseries.base.errors import Problem, StudyError, UsageError
from liftseries.base.outputs import FORMULA_SIGNS
from liftseries.intake.books.first_sheet import README_SHEET
from liftseries.intake.books.refused import MARK_LENGTH
from liftseries.intake.books.workbook_cells import FILE, FRONT, MARK, OUT, ROW, shown
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.corrections.corrected import states
from liftseries.intake.corrections.fingerprint import fingerprint, raw_row
from liftseries.intake.corrections.lines import (
    LEAVE_OUT,
    Correction,
    Corrections,
    append_corrections,
    identifying,
    read_corrections,
)
from liftseries.intake.draft.draft import Draft
from liftseries.intake.files.grid import DATES, Oddity, Unreadable, is_blank, letters
from liftseries.intake.files.headers import Header
from liftseries.intake.files.workbook_parts import Workbook
from liftseries.intake.files.workbooks import careful_records
from liftseries.intake.study import checked_drafts
from liftseries.study.plan import Plan
from liftseries.study.schema import Table

ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")  # how some programs write what a workbook can't hold


@dataclass
class Applied:
    """What was taken over into corrections.csv, and what was not."""

    lines: list[Correction] = field(default_factory=list)
    refused: list[Problem] = field(default_factory=list)

    @property
    def n_cells(self) -> int:
        return sum(not line.leaves_out for line in self.lines)

    @property
    def n_left_out(self) -> int:
        return sum(line.leaves_out for line in self.lines)


@dataclass(frozen=True)
class ReturnedRow:
    """A row of the workbook; its cells by the title of their column, with the cell's own place."""

    place: str
    cells: Mapping[str, tuple[object, str]]

    def text(self, title: str) -> str:
        return returned(self.cells[title][0]) if title in self.cells else ""


def apply_book(plan: Plan, path: Path) -> Applied:
    """Takes the changed cells of a correction workbook over into corrections.csv.

    Parameters
    ----------
    plan
    path
        The workbook as it came back.

    Raises
    ------
    UsageError
        No such file, or none that is a correction workbook.
    StudyError
        corrections.csv itself has problems; nothing is added to it.
    """
    sheets = _read_book(path)
    corrections = read_corrections(plan)
    if corrections.findings:
        raise StudyError([Problem(finding.place, finding.message) for finding in corrections.findings])
    drafts, applied, n_tables = checked_drafts(plan, corrections), Applied(), 0
    for number, (title, rows) in enumerate(sheets, start=1):
        if title.strip().lower() == README_SHEET:
            continue
        # A title that is none of ours may be a name.
        if title in drafts:
            n_tables += 1
            _apply_sheet(plan, drafts[title], corrections, f"{path.name}, sheet {title}", rows, applied)
        elif _is_filled(rows):
            message = "carries the name of no table of the study. Give it back its name, or delete it."
            applied.refused.append(Problem(f"{path.name}, sheet {number}", message))
    if not n_tables and not applied.refused:
        raise UsageError(f"{path.name} holds no rows to correct. Hand back the workbook that --corrections wrote.")
    append_corrections(plan, applied.lines)
    return applied


def returned(cell: object) -> str:
    """A cell of the returned workbook as `shown` would have put it there."""
    text = shown(cell)
    return shown(ESCAPED.sub(lambda found: chr(int(found[1], 16)), text)) if "_x" in text else text


# ── the file ────────────────────────────────────────────────────────────────────────────────────


def _read_book(path: Path) -> list[tuple[str, list[list[object]]]]:
    """Title and cells of each sheet; what is hidden or filtered away is there like the rest."""
    if not path.is_file():
        raise UsageError(f"{path.name}: there is no such file. Name the correction workbook.")
    try:
        with Workbook(path, path.name) as book:
            return [(sheet.title, careful_records(book.sheet_xml(sheet))[0]) for sheet in book.sheets]
    except Unreadable as error:
        raise UsageError(f"{error.place or path.name}: {error.message}") from None
    except Exception:  # whatever the libraries stumble over, the file is at fault
        raise UsageError(f"{path.name}: is no workbook or a damaged one. Open and save it as .xlsx.") from None


# ── a sheet ─────────────────────────────────────────────────────────────────────────────────────


def _apply_sheet(plan: Plan, draft: Draft, corrections: Corrections, place: str, rows: list, applied: Applied) -> None:
    header_at = next((at for at, row in enumerate(rows) if {FILE, ROW} <= {returned(cell) for cell in row}), None)
    if header_at is None:
        if _is_filled(rows):
            message = f'has no header with "{FILE}" and "{ROW}". Put it back as it was written.'
            applied.refused.append(Problem(place, message))
        return
    width = max(map(len, rows))
    titles = [returned(cell) for cell in rows[header_at]] + [""] * (width - len(rows[header_at]))
    below = list(enumerate(rows[header_at + 1 :], start=header_at + 2))
    positions = _positions(titles, draft, place, below, applied)
    seen: dict[tuple[str, str], list[ReturnedRow]] = {}
    for number, row in below:
        cells = {
            title: (row[at], f"{place}, cell {letters(at)}{number}") for title, at in positions.items() if at < len(row)
        }
        if all(is_blank(cell) for cell, _ in cells.values()):
            continue
        found = ReturnedRow(f"{place}, row {number}", cells)
        seen.setdefault((found.text(FILE), found.text(ROW)), []).append(found)
    for (file, row), copies in seen.items():
        if not (file and row):
            message = f'filled cells without "{FILE}" and "{ROW}". Enter a new row in the table\'s own file.'
            applied.refused += [Problem(copy.place, message) for copy in copies]
        elif len(copies) > 1:
            message = "the same row stands in the sheet more than once. Keep one of them."
            applied.refused += [Problem(copy.place, message) for copy in copies]
        else:
            _apply_row(plan, draft, corrections, copies[0], applied)


def _is_filled(rows: list) -> bool:
    return any(not is_blank(cell) for row in rows for cell in row)


def _positions(titles: list[str], draft: Draft, place: str, below: list, applied: Applied) -> dict[str, int]:
    """Where each column that can be taken stands; filled ones that can't are told."""
    known = {*FRONT, MARK, *draft.table.columns}
    for at, title in enumerate(titles):
        if title in known and titles.count(title) == 1:
            continue
        if any(at < len(row) and not is_blank(row[at]) for _, row in below):
            message = "filled cells in a column that was added, renamed or doubled. Clear or rename it."
            applied.refused.append(Problem(f"{place}, column {letters(at)}", message))
    return {title: at for at, title in enumerate(titles) if title in known and titles.count(title) == 1}


# ── a row ───────────────────────────────────────────────────────────────────────────────────────


def _apply_row(plan: Plan, draft: Draft, corrections: Corrections, row: ReturnedRow, applied: Applied) -> None:
    number = number_in(row.text(ROW))
    files = {shown(source.label): file_no for file_no, source in enumerate(draft.sources)}
    file_no = files.get(row.text(FILE))
    if file_no not in draft.as_filed:
        message = "its file is none of the table's that can be read. Correct study.yaml, or write the workbook anew."
        applied.refused.append(Problem(row.place, message))
        return
    sheet, header, label = draft.as_filed[file_no], draft.headers[file_no], draft.sources[file_no].label
    at = np.flatnonzero(sheet.rows == number)
    raw = raw_row(sheet, at[0]) if len(at) else []
    whole = fingerprint(sheet, raw) if len(at) else ""
    lines = corrections.fitting(draft.table.name, label, number, header, whole)
    history = states(raw, header, lines) if len(at) else []
    written = [state for state in history if fingerprint(sheet, state)[:MARK_LENGTH] == row.text(MARK)]
    if not written:
        message = f"row {row.text(ROW)} of {label} has changed since. Write a new workbook and correct the row there."
        applied.refused.append(Problem(row.place, message))
        return
    for column, value, place in _changes(draft.table, header, row, written[-1], history[-1], applied):
        if problem := identifying(plan, draft.table.name, column, value):
            applied.refused.append(Problem(place, problem))
            continue
        applied.lines.append(Correction(draft.table.name, label, int(number), column, whole, value))
    out = row.text(OUT)
    if out and out.casefold() != LEAVE_OUT:
        message = f"neither empty nor `{LEAVE_OUT}`. Write that, or clear the cell."
        applied.refused.append(Problem(row.cells[OUT][1], message))
    elif out and not any(line.leaves_out for line in lines):
        applied.lines.append(Correction(draft.table.name, label, int(number), "", whole, LEAVE_OUT))


def _changes(
    table: Table, header: Header, row: ReturnedRow, then: list, now: list, applied: Applied
) -> Iterator[tuple[str, str, str]]:
    """Column, value and place of each cell that differs from both the row as it was written and as it is now."""
    for column in (name for name in table.columns if name in row.cells):
        cell, place = row.cells[column]
        if not header.can_be_read(column):
            if not is_blank(cell):
                message = f"the row's file has no column {column} that can be read. Add it there, or clear the cell."
                applied.refused.append(Problem(place, message))
        elif isinstance(cell, Oddity):
            message = "an error, a formula without a value, or a number that its format hides. Type the value itself."
            applied.refused.append(Problem(place, message))
        elif returned(cell) not in (shown(then[header.positions[column]]), shown(now[header.positions[column]])):
            if problem := _cannot_be_taken(cell):
                applied.refused.append(Problem(place, problem))
            else:
                yield column, returned(cell), place


def _cannot_be_taken(cell: object) -> str:
    """What a CSV can't hold, or a spreadsheet program would run."""
    if isinstance(cell, DATES):
        return "a date; a program may have made it of a number. Give the cell the text format and type it again."
    text = returned(cell)
    if len(text) > 1 and text.startswith(FORMULA_SIGNS) and number_in(text) is None:
        return "a text that begins as a formula of a spreadsheet does, with = + - or @. Type it without that sign."
    return ""
