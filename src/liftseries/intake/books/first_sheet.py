"""The first sheet of a correction workbook: what to do with it, and what cannot be corrected there."""

from __future__ import annotations

import math

from openpyxl.styles import Font
from openpyxl.worksheet.worksheet import Worksheet

from liftseries.base.numbers import counted
from liftseries.intake.books.refused import Refused
from liftseries.intake.books.workbook_cells import FACE, LINE_POINTS, OUT, PERSON, REASON, WRAPPED, WRONG, protect, put
from liftseries.intake.corrections.lines import LEAVE_OUT, LEAVE_OUT_COPIES
from liftseries.study.plan import Plan
from liftseries.study.plan_files import CORRECTIONS_FILE

README_SHEET = "read me first"


def write_first_sheet(sheet: Worksheet, plan: Plan, found: Refused, name: str) -> None:
    """What the workbook is for, how it is filled in and handed back, and how much is to be corrected."""
    sheet.title = README_SHEET
    sheet.sheet_view.showGridLines = False
    sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width = 34, 86
    for number, (title, text) in enumerate(_paragraphs(plan, found, name), start=1):
        _line(sheet, number, title, text, size=14 if number == 1 else 11)
    number = _write_counts(sheet, number + 2, found)
    if found.elsewhere:
        number += 2
        _line(sheet, number, "Not to be corrected here", "Faults of a file or of study.yaml. Mend them there.")
        for finding in found.elsewhere:
            number += 1
            _line(sheet, number, finding.place, finding.message, bold=False)
    protect(sheet)
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def _paragraphs(plan: Plan, found: Refused, name: str) -> list[tuple[str, str]]:
    told = f"{counted(found.n_rows - found.n_odd, 'row')} cannot be taken as entered."
    if found.n_odd:
        told += f" {counted(found.n_odd, 'row')} can, but have something odd: it may be right."
    return [
        ("Rows to correct", f"{plan.title or plan.study_id}: {told}"),
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
            "are offered where only certain values are allowed, and the words of your own file are understood too. "
            "Decimal point or comma, both are read. Clear a cell that has no value. Leave what you cannot settle as it "
            "is: it stays refused and is told again.",
        ),
        (
            "Who and why",
            f'Fill in "{REASON}" and "{PERSON}" in each row that you change; the second takes a pseudonym, no name. '
            "A changed row without both is not taken, unless whoever takes the workbook over gives them for all rows.",
        ),
        (
            "To drop a row",
            f'Choose "{LEAVE_OUT}" in the column "{OUT}". The row is then treated as if it had not been entered, and '
            "counted as left out. What belongs to it, such as the visits of a site, is listed and asked for, and goes "
            f'with it. Rows that are the same in every cell stand here once: "{LEAVE_OUT_COPIES}" keeps the first.',
        ),
        (
            "What cannot be done here",
            "Rows cannot be added: enter them in the table's own file. Deleting a row here changes nothing. Values "
            "typed over hatched cells, in added columns or beside no key are refused, and so are dates and errors; "
            "of a row with such a cell nothing is taken. Sorting, filtering, moving columns and blank rows do no harm.",
        ),
        ("To hand it back", f"Save it as .xlsx, then: liftseries check STUDY --apply {name}"),
        (
            "What happens then",
            f"The files of the tables stay as they are. What was changed here goes to {CORRECTIONS_FILE} beside "
            "study.yaml, a line a cell, and every run puts it over the cells, however the files are sorted or grow. "
            "`liftseries corrections STUDY --withdraw LINE` takes a line back. A row that has changed in its file in "
            "the meantime is refused, not guessed.",
        ),
    ]


def _write_counts(sheet: Worksheet, number: int, found: Refused) -> int:
    _line(sheet, number, "Sheet", "Rows to correct, and what is wrong in how many places")
    for name, rows in found.rows.items():
        number += 1
        n_faults = sum(len(row.findings) for row in rows)
        _line(sheet, number, name, f"{counted(len(rows), 'row')}, {counted(n_faults, 'fault')}", bold=False)
    return number


def _line(sheet: Worksheet, number: int, title: str, text: str, size: int = 11, bold: bool = True) -> None:
    head, body = put(sheet, number, 1, title), put(sheet, number, 2, text)
    head.font, body.font = Font(name=FACE, bold=bold, size=size), Font(name=FACE, size=size)
    head.alignment = body.alignment = WRAPPED
    lines = max(math.ceil(len(title) * size / 11 / 32), math.ceil(len(text) * size / 11 / 84))
    sheet.row_dimensions[number].height = LINE_POINTS * lines * size / 11 + 4
