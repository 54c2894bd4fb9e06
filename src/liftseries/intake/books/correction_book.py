"""The correction workbook: the rows that were refused, for the people who typed them to correct.

A sheet a table, a row a refused row, with its place in front and a fingerprint behind, by which it is known
again however the sheet is sorted. Every cell is a text that no program takes for a formula, number or date.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from liftseries.base.errors import Problem, StudyError, UsageError
from liftseries.base.outputs import written_whole
from liftseries.forms.dictionary import entries
from liftseries.intake.checks.identifiers import CELL_RULE, HEADER_RULE, WORDS_RULE, screen_words
from liftseries.intake.corrections.fingerprint import as_text, fingerprint, raw_row
from liftseries.intake.corrections.lines import LEAVE_OUT, read_corrections
from liftseries.intake.draft.draft import Draft
from liftseries.intake.set_aside import DEPENDS, set_aside
from liftseries.intake.study import checked_drafts
from liftseries.intake.told.findings import Finding, in_order, told_once
from liftseries.study.plan import Plan
from liftseries.study.plan_files import CORRECTIONS_FILE
from liftseries.study.schema import Column, Table

README_SHEET = "read me first"
# Titles with a blank, so that no column of a table can have the same name.
FILE, ROW, WRONG, OUT, MARK = "in file", "in row", "what is wrong", "leave out?", "do not change"
FRONT = (FILE, ROW, WRONG, OUT)
MARK_LENGTH = 16  # digits of the fingerprint that are shown; enough to tell rows apart
LONGEST_CELL = 32767  # what a workbook holds in one cell
LONGEST_LIST = 255  # and in one drop-down
NOT_IN_A_WORKBOOK = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff\ud800-\udfff]")

FACE = "Calibri"  # what a new workbook has
BOLD = Font(name=FACE, bold=True)
GREY = PatternFill("solid", fgColor="EDEDED")
HEAD = PatternFill("solid", fgColor="D9E2EC")
FAULTY = PatternFill("solid", fgColor="FFD9A0")
ABSENT = PatternFill("lightUp", fgColor="BFBFBF")
THICK = Border(**dict.fromkeys(("left", "right", "top", "bottom"), Side(style="thick", color="9C4A00")))
WRAPPED = Alignment(wrap_text=True, vertical="top")
TOP = Alignment(vertical="top")
CENTRED = Alignment(horizontal="center", vertical="top")
OPEN = Protection(locked=False)
WIDTHS = {FILE: 15, ROW: 8, WRONG: 50, OUT: 12, MARK: 15}
LINE_POINTS = 15  # height of one line of text


@dataclass(frozen=True)
class RefusedRow:
    """A row with faults of its own, as it stands in the study now."""

    file: str
    row: int
    cells: Mapping[str, object]  # column -> raw cell, corrections so far included; columns the file has
    fingerprint: str
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Refused:
    """What can be corrected cell by cell, and what can't."""

    rows: dict[str, list[RefusedRow]]  # table -> rows, in file order
    elsewhere: list[Finding]  # to be mended in a file or in study.yaml

    @property
    def n_rows(self) -> int:
        return sum(map(len, self.rows.values()))


def shown(cell: object) -> str:
    """A raw cell as the workbook shows it: a text without what a workbook can't hold."""
    text = as_text(cell).replace("\r\n", "\n").replace("\r", "\n")
    return NOT_IN_A_WORKBOOK.sub("", text)[:LONGEST_CELL]


# ── which rows ──────────────────────────────────────────────────────────────────────────────────


def refused(plan: Plan) -> tuple[Refused, dict[str, Table]]:
    """The rows that need correction: those with a fault of their own, not those that depend on them.

    Of two rows that contradict each other both are there, for either may be the wrong one.
    """
    corrections = read_corrections(plan)
    drafts = checked_drafts(plan, corrections)
    _, lines = set_aside(drafts)
    own = in_order(line for line in lines if line.rule != DEPENDS)
    elsewhere = told_once(finding for draft in drafts.values() for finding in draft.findings if finding.stops_the_run)
    rows: dict[str, list[RefusedRow]] = {}
    for name, draft in drafts.items():
        by_row: dict[int, list[Finding]] = {}
        for finding in own:
            if finding.table == name:
                by_row.setdefault(finding.index, []).append(finding)
        for index, findings in by_row.items():
            row = _row(draft, index, findings)
            # No value mends a row with a cell too many, nor one whose file lacks the column.
            beyond = [finding for finding in findings if finding.column not in row.cells]
            elsewhere += beyond
            if len(beyond) < len(findings):
                rows.setdefault(name, []).append(row)
    elsewhere = in_order([*elsewhere, *corrections.findings, *screen_words(plan)])
    return Refused(rows, elsewhere), {name: draft.table for name, draft in drafts.items()}


def _row(draft: Draft, index: int, findings: Sequence[Finding]) -> RefusedRow:
    file_no, row = int(draft.file_no[index]), int(draft.rows[index])
    sheet, header = draft.sheets[file_no], draft.headers[file_no]
    cells = raw_row(sheet, int(np.searchsorted(sheet.rows, row)))
    readable = sorted(filter(header.can_be_read, header.positions), key=header.positions.__getitem__)
    return RefusedRow(
        file=sheet.source.label,
        row=row,
        cells={name: cells[header.positions[name]] for name in readable},
        fingerprint=fingerprint(sheet, cells)[:MARK_LENGTH],
        findings=tuple(findings),
    )


def _columns(rows: Iterable[RefusedRow]) -> list[str]:
    """In the order of the first file; what only later ones have comes behind."""
    return list(dict.fromkeys(name for row in rows for name in row.cells))


# ── the workbook ────────────────────────────────────────────────────────────────────────────────


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
    _write_readme(book.active, plan, found, path.name)
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


def _write_table(sheet: Worksheet, table: Table, rows: Sequence[RefusedRow]) -> None:
    columns = _columns(rows)
    header = [*FRONT, *columns, MARK]
    for at, title in enumerate(header, start=1):
        cell = _put(sheet, 1, at, title)
        cell.font, cell.fill, cell.alignment = BOLD, HEAD, WRAPPED
        sheet.column_dimensions[get_column_letter(at)].width = WIDTHS.get(title) or _width(title, rows)
    about = {entry.name: entry for entry in entries(table)}
    for at, name in enumerate(columns, start=len(FRONT) + 1):
        _note(sheet.cell(1, at), f"{about[name].title}: {about[name].holds}.\n{about[name].means}")
    _note(sheet.cell(1, FRONT.index(OUT) + 1), f"Write {LEAVE_OUT} to take the whole row out of the study.")
    for number, row in enumerate(rows, start=2):
        _write_row(sheet, number, row, columns)
    _offer_levels(sheet, table, columns, len(rows))
    sheet.freeze_panes = sheet.cell(2, FRONT.index(OUT) + 1)
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(header))}{len(rows) + 1}"
    _protect(sheet)
    sheet.page_setup.orientation, sheet.page_setup.scale = "landscape", 60
    sheet.print_title_rows, sheet.print_title_cols = "1:1", f"A:{get_column_letter(FRONT.index(WRONG) + 1)}"


def _write_row(sheet: Worksheet, number: int, row: RefusedRow, columns: Sequence[str]) -> None:
    wrong = [f"{finding.column or 'the row'}: {finding.message}" for finding in row.findings]
    front = {FILE: row.file, ROW: row.row, WRONG: "\n".join(wrong), OUT: ""}
    for at, (title, value) in enumerate(front.items(), start=1):
        cell = _put(sheet, number, at, value)
        cell.alignment = CENTRED if title == ROW else WRAPPED
        if title == OUT:
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
        cell = _put(sheet, number, at, shown(row.cells[name]))
        cell.protection, cell.alignment = OPEN, TOP
        if name in faulty:
            cell.fill, cell.border, cell.font = FAULTY, THICK, BOLD
            _note(cell, "\n".join(faulty[name]))
    mark = _put(sheet, number, len(FRONT) + len(columns) + 1, row.fingerprint)
    mark.fill, mark.font, mark.alignment = GREY, Font(name=FACE, color="7F7F7F", size=8), TOP
    lines = sum(math.ceil(len(line) / WIDTHS[WRONG]) for line in wrong)
    sheet.row_dimensions[number].height = LINE_POINTS * max(lines, 1) + 3


def _put(sheet: Worksheet, row: int, column: int, value: str | int) -> Cell:
    """A text stays a text, whatever it begins with; also after somebody has edited its cell."""
    cell = sheet.cell(row, column)
    if isinstance(value, int):
        cell.value = value
        return cell
    cell.number_format = "@"
    if value:
        cell.value = value
        cell.data_type, cell.quotePrefix = "s", True
    return cell


def _note(cell: Cell, text: str) -> None:
    lines = sum(math.ceil(len(line) / 45) or 1 for line in text.split("\n"))
    cell.comment = Comment(text, "liftseries", width=320, height=20 * (lines + 1))


def _width(name: str, rows: Sequence[RefusedRow]) -> float:
    longest = max((len(shown(row.cells.get(name))) for row in rows), default=0)
    return min(max(len(name) + 4, longest + 2), 30)


def _offer_levels(sheet: Worksheet, table: Table, columns: Sequence[str], n_rows: int) -> None:
    for at, name in enumerate(columns, start=len(FRONT) + 1):
        _offer(sheet, at, n_rows, _levels(table.columns[name]))
    _offer(sheet, FRONT.index(OUT) + 1, n_rows, [LEAVE_OUT])


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


def _protect(sheet: Worksheet) -> None:
    """Against slips only, so without a password; widths, heights and the filter stay free."""
    sheet.protection.sheet = True
    sheet.protection.formatColumns = sheet.protection.formatRows = False
    sheet.protection.autoFilter = sheet.protection.sort = False


# ── the first sheet ─────────────────────────────────────────────────────────────────────────────


def _write_readme(sheet: Worksheet, plan: Plan, found: Refused, name: str) -> None:
    sheet.title = README_SHEET
    sheet.sheet_view.showGridLines = False
    sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width = 34, 86
    paragraphs = [
        (
            "Rows to correct",
            f"{plan.title or plan.study_id}: {_counted(found.n_rows, 'row')} cannot be taken as entered.",
        ),
        (
            "Patients' data",
            "This workbook holds rows of patients. It must not leave the house: no e-mail, no shared folder "
            "outside. Delete it once it has been handed back.",
        ),
        (
            "What you see",
            "Each further sheet is a table, each row a refused row with its file and row number in front. A faulty "
            "cell has a thick frame, bold type, an orange ground and a note; the column "
            f'"{WRONG}" says the same in words. Rows that are refused only because they belong to one of these are '
            "not here; they come back with it.",
        ),
        (
            "What to do",
            "Type the right value over the wrong one. Every cell of a row may be corrected but the grey ones; lists "
            "are offered where only certain values are allowed. Decimal point or comma, both are read. Clear a cell "
            "that has no value. Leave what you cannot settle as it is: it stays refused and is told again.",
        ),
        (
            "To drop a row",
            f'Choose "{LEAVE_OUT}" in the column "{OUT}". The row is then treated as if it had not been entered, and '
            "counted as left out. What belongs to it, such as the visits of a site, is told as a fault of its own.",
        ),
        (
            "What cannot be done here",
            "Rows cannot be added: enter them in the table's own file. Deleting a row here changes nothing. Values "
            "typed over hatched cells, in added columns or beside no row number are refused, and so are dates and "
            "errors. Sorting, filtering, moving columns and blank rows do no harm.",
        ),
        ("To hand it back", f"Save it as .xlsx, then: liftseries check STUDY --apply {name}"),
        (
            "What happens then",
            f"The files of the tables stay as they are. What was changed here goes to {CORRECTIONS_FILE} beside "
            "study.yaml, a line a cell, and every run puts it over the cells. To take a correction back, delete its "
            "line there. A row whose file has changed in the meantime is refused, not guessed.",
        ),
    ]
    number = 0
    for title, text in paragraphs:
        number += 1
        _line(sheet, number, title, text, size=14 if number == 1 else 11)
    number = _write_counts(sheet, number + 2, found)
    if found.elsewhere:
        number += 2
        _line(sheet, number, "Not to be corrected here", "Faults of a file or of study.yaml. Mend them there.")
        for finding in found.elsewhere:
            number += 1
            _line(sheet, number, finding.place, finding.message, bold=False)
    _protect(sheet)
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def _write_counts(sheet: Worksheet, number: int, found: Refused) -> int:
    _line(sheet, number, "Sheet", "Rows to correct, and what is wrong in how many places")
    for name, rows in found.rows.items():
        number += 1
        n_faults = sum(len(row.findings) for row in rows)
        _line(sheet, number, name, f"{_counted(len(rows), 'row')}, {_counted(n_faults, 'fault')}", bold=False)
    return number


def _counted(n: int, word: str) -> str:
    return f"{n} {word}{'s' if n != 1 else ''}"


def _line(sheet: Worksheet, number: int, title: str, text: str, size: int = 11, bold: bool = True) -> None:
    head, body = _put(sheet, number, 1, title), _put(sheet, number, 2, text)
    head.font, body.font = Font(name=FACE, bold=bold, size=size), Font(name=FACE, size=size)
    head.alignment = body.alignment = WRAPPED
    lines = max(math.ceil(len(title) * size / 11 / 32), math.ceil(len(text) * size / 11 / 84))
    sheet.row_dimensions[number].height = LINE_POINTS * lines * size / 11 + 4
