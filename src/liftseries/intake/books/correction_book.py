"""The correction workbook: the rows that were refused, for the people who typed them to correct.

A sheet a table, a row a refused row, with its key in front and a mark behind, by which it is known again however the
sheet is sorted or the files have grown. Every cell is a text that no program takes for a formula, number or date.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from liftseries.base.errors import Problem, StudyError, UsageError
from liftseries.base.outputs import written_whole
from liftseries.forms.dictionary import entries
from liftseries.intake.books.first_sheet import write_first_sheet
from liftseries.intake.books.refused import Refused, RefusedRow, refused
from liftseries.intake.books.workbook_cells import (
    BOLD,
    FACE,
    FILE,
    FRONT,
    KEY,
    LINE_POINTS,
    MARK,
    OUT,
    PERSON,
    REASON,
    ROW,
    TO_FILL_IN,
    WRAPPED,
    WRONG,
    note,
    protect,
    put,
    shown,
)
from liftseries.intake.checks.identifiers import CELL_RULE, HEADER_RULE, WORDS_RULE
from liftseries.intake.corrections.lines import LEAVE_OUT, LEAVE_OUT_COPIES
from liftseries.study.plan import Plan
from liftseries.study.schema import Column, Table

LONGEST_LIST = 255  # what a workbook holds in one drop-down
GREY = PatternFill("solid", fgColor="EDEDED")
HEAD = PatternFill("solid", fgColor="D9E2EC")
FAULTY = PatternFill("solid", fgColor="FFD9A0")
ABSENT = PatternFill("lightUp", fgColor="BFBFBF")
THICK = Border(**dict.fromkeys(("left", "right", "top", "bottom"), Side(style="thick", color="9C4A00")))
TOP = Alignment(vertical="top")
CENTRED = Alignment(horizontal="center", vertical="top")
OPEN = Protection(locked=False)
WIDTHS = {KEY: 16, FILE: 15, ROW: 8, WRONG: 50, OUT: 12, REASON: 26, PERSON: 12, MARK: 15}
NOTES = {
    OUT: f"Write {LEAVE_OUT} to take the whole row out of the study, {LEAVE_OUT_COPIES} to keep one of rows that are "
    "the same in every cell.",
    REASON: "Why the row is changed, in a few words that point to nobody.",
    PERSON: "Who changed it: a pseudonym, the same one each time.",
}


def write_correction_book(plan: Plan, path: Path) -> Refused:
    """Writes the workbook, unless no row needs correction.

    Parameters
    ----------
    plan
    path
        Ends in .xlsx; nothing may be there yet.

    Raises
    ------
    UsageError
        The file is there, is one that study.yaml names, or has another ending.
    StudyError
        The identifier screen found something: then no row is copied anywhere.
    """
    check_may_be_written(plan, path)
    found, tables = refused(plan)
    identifying = [finding.place for finding in found.elsewhere if finding.rule in (CELL_RULE, HEADER_RULE, WORDS_RULE)]
    if identifying:
        message = f"not written while something points to people. Mend that first: {'; '.join(identifying)}."
        raise StudyError([Problem(path.name, message)])
    if not found.n_rows:
        return found
    book = Workbook()
    write_first_sheet(book.active, plan, found, path.name)
    for name, rows in found.rows.items():
        _write_table(book.create_sheet(name), tables[name], rows)
    try:
        with written_whole(path) as temporary:
            book.save(temporary)
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}). Name another place.") from None
    return found


def check_may_be_written(plan: Plan, path: Path) -> None:
    """Raises UsageError where the file is there, is an input, or is no .xlsx."""
    if path.suffix.lower() != ".xlsx":
        raise UsageError("the correction workbook must end in .xlsx. Name it so.")
    if path.resolve() in {source.path.resolve() for sources in plan.tables.values() for source in sources}:
        raise UsageError(f"{path.name} is a file that study.yaml names as a table. Choose another name.")
    if path.exists() or path.is_symlink():
        raise UsageError(f"{path.name} is there already and is not overwritten. Move it away or choose another name.")


# ── a table ─────────────────────────────────────────────────────────────────────────────────────


def _write_table(sheet: Worksheet, table: Table, rows: Sequence[RefusedRow]) -> None:
    columns = _columns(rows)
    header = [*FRONT, *columns, MARK]
    for at, title in enumerate(header, start=1):
        cell = put(sheet, 1, at, title)
        cell.font, cell.fill, cell.alignment = BOLD, HEAD, WRAPPED
        sheet.column_dimensions[get_column_letter(at)].width = WIDTHS.get(title) or _width(title, rows)
    about = {entry.name: entry for entry in entries(table)}
    for at, name in enumerate(columns, start=len(FRONT) + 1):
        note(sheet.cell(1, at), f"{about[name].title}: {about[name].holds}.\n{about[name].means}")
    for title, text in NOTES.items():
        note(sheet.cell(1, FRONT.index(title) + 1), text)
    for number, row in enumerate(rows, start=2):
        _write_row(sheet, number, row, columns)
    _offer_levels(sheet, table, columns, rows)
    sheet.freeze_panes = sheet.cell(2, FRONT.index(OUT) + 1)
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(header))}{len(rows) + 1}"
    protect(sheet)
    sheet.page_setup.orientation, sheet.page_setup.scale = "landscape", 60
    sheet.print_title_rows, sheet.print_title_cols = "1:1", f"A:{get_column_letter(FRONT.index(WRONG) + 1)}"


def _write_row(sheet: Worksheet, number: int, row: RefusedRow, columns: Sequence[str]) -> None:
    wrong = [f"{finding.column or 'the row'}: {finding.message}" for finding in row.findings]
    if row.n_copies > 1:
        wrong.append(f"the row stands {row.n_copies} times, the same in every cell; it is here once for all.")
    told = {KEY: row.key, FILE: row.file, ROW: row.row, WRONG: "\n".join(wrong)}
    front = {title: told.get(title, "") for title in FRONT}
    for at, (title, value) in enumerate(front.items(), start=1):
        cell = put(sheet, number, at, value)
        cell.alignment = CENTRED if title == ROW else WRAPPED
        if title in TO_FILL_IN:
            cell.protection = OPEN
        else:
            cell.fill = GREY
    faulty: dict[str, list[str]] = {}
    for finding in row.findings:
        faulty.setdefault(finding.column, []).append(f"{finding.rule.replace('_', ' ')}:\n{finding.message}")
    for at, name in enumerate(columns, start=len(FRONT) + 1):
        if name not in row.cells:
            sheet.cell(number, at).fill = ABSENT  # the row's file has no such column; the cell stays locked
            continue
        cell = put(sheet, number, at, shown(row.cells[name]))
        cell.protection, cell.alignment = OPEN, TOP
        if name in faulty:
            cell.fill, cell.border, cell.font = FAULTY, THICK, BOLD
            note(cell, "\n".join(faulty[name]))
    mark = put(sheet, number, len(FRONT) + len(columns) + 1, row.mark)
    mark.fill, mark.font, mark.alignment = GREY, Font(name=FACE, color="7F7F7F", size=8), TOP
    lines = sum(math.ceil(len(line) / WIDTHS[WRONG]) for line in wrong)
    sheet.row_dimensions[number].height = LINE_POINTS * max(lines, 1) + 3


def _columns(rows: Iterable[RefusedRow]) -> list[str]:
    """In the order of the first file; what only later ones have comes behind."""
    return list(dict.fromkeys(name for row in rows for name in row.cells))


def _width(name: str, rows: Sequence[RefusedRow]) -> float:
    longest = max((len(shown(row.cells.get(name))) for row in rows), default=0)
    return min(max(len(name) + 4, longest + 2), 30)


def _offer_levels(sheet: Worksheet, table: Table, columns: Sequence[str], rows: Sequence[RefusedRow]) -> None:
    for at, name in enumerate(columns, start=len(FRONT) + 1):
        _offer(sheet, at, len(rows), _levels(table.columns[name]))
    copied = any(row.n_copies > 1 for row in rows)
    _offer(sheet, FRONT.index(OUT) + 1, len(rows), [LEAVE_OUT, LEAVE_OUT_COPIES] if copied else [LEAVE_OUT])


def _levels(column: Column) -> list[str]:
    return [str(level) for level in column.levels]


def _offer(sheet: Worksheet, at: int, n_rows: int, levels: Sequence[str]) -> None:
    """A drop-down; nothing where the list has none, or can't be put into one."""
    listed = ",".join(levels)
    if not levels or len(listed) > LONGEST_LIST or any(mark in level for level in levels for mark in ',"'):
        return
    # A warning and no stop: what study.yaml maps to a level may be typed too.
    offer = DataValidation(type="list", formula1=f'"{listed}"', allow_blank=True, errorStyle="warning")
    offer.errorTitle, offer.error = "Not in the list", "This is none of the values of the list. Keep it all the same?"
    letter = get_column_letter(at)
    offer.add(f"{letter}2:{letter}{n_rows + 1}")
    sheet.add_data_validation(offer)
