"""The sheets of the entry workbook that guide and hold no data: read me, and one made-up case."""

from __future__ import annotations

import math
from collections.abc import Mapping

from openpyxl.styles import Alignment, Border, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from liftseries.forms.dictionary import about
from liftseries.forms.entry_looks import CLOSED, HEADERS, IS_WRONG, MARKS, how_needed, protect, typeface, width
from liftseries.study.schema import Table

READ_ME, EXAMPLE, LISTS = "read me", "example", "lists"
HOW_TO = (
    "One sheet a table. Start with instruments and stops, then patients, then their sites, then steps and visits.",
    "One row each, the first one in row 2, right below the header. Leave no title, sum or remark on the sheets.",
    "Rest the pointer on a column's name: a note says what it means, how it is measured, its unit and what is allowed.",
    "Cells with a list offer their words: click the arrow, or Alt and the down key. A site's patient is offered from "
    "the sheet patients, and so on.",
    "What is not known stays empty, or is entered as unknown where the list offers it: no dash, question mark or 0.",
    "Numbers without a unit, with the decimal mark that your program uses. Should a number turn into a date, clear the "
    "cell with its format and type it with the other mark.",
    "Pasting goes round the lists and limits; the marks below still show what is wrong. Paste values only.",
    "Don't hide rows or columns, join cells or rename a sheet or column.",
    "When done, save as XLSX beside study.yaml and run `liftseries check` on the folder: it tells all that is wrong.",
)
CAUTIONS = (
    "Pseudonyms only. No names, initials, record numbers, dates of birth or other dates; the list that tells whose a "
    "pseudonym is stays at the centre, never in this folder.",
    "For research and audit only. Not a medical device, and no advice for a patient in the chair.",
)
LOCKS = (
    "Headers and this sheet are locked against slips of the hand, the cells below the headers are open. There is no "
    "password: whoever must change the structure can lift the protection in the program's menu."
)


def write_read_me(sheet: Worksheet, schema: Mapping[str, Table]) -> None:
    """How the workbook is filled in, what its sheets are and what its colours mean."""
    sheet.title = READ_ME
    sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width = 34, 92
    row = _line(sheet, 1, "Entry workbook of a case series of crestal sinus floor lifts", heading=True)
    row = _line(sheet, row + 1, "Before you start", heading=True)
    for caution in CAUTIONS:
        row = _line(sheet, row, caution)
    row = _line(sheet, row + 1, "How to fill it in", heading=True)
    for number, step in enumerate(HOW_TO, start=1):
        row = _line(sheet, row, f"{number}. {step}")
    row = _line(sheet, row, LOCKS)
    row = _line(sheet, row + 1, "The sheets", heading=True)
    for table in schema.values():
        row = _pair(sheet, row, table.name, about(table))
    row = _pair(sheet, row, EXAMPLE, "One made-up case in all tables, to look at. It is never read, so leave it there.")
    row = _pair(sheet, row, LISTS, "What the drop-downs offer. Leave it as it is.")
    row = _line(sheet, row + 1, "What the headers and cells show", heading=True)
    for words, (font, fill) in HEADERS.items():
        sheet.cell(row, 1).font, sheet.cell(row, 1).fill = font, fill
        row = _pair(sheet, row, "column_name", f"A column that {words}.")
    for words, look in MARKS.items():
        sample = sheet.cell(row, 1)
        sample.fill = PatternFill("solid", fgColor=look["fill"].bgColor)
        sample.font, sample.border = look.get("font", typeface()), look.get("border", Border())
        row = _pair(sheet, row, "12.3" if words == IS_WRONG else None, f"A cell that {words}.")
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", sheet.PAPERSIZE_A4
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    protect(sheet)


def _line(sheet: Worksheet, row: int, text: str, heading: bool = False) -> int:
    sheet.merge_cells(start_row=row, end_row=row, start_column=1, end_column=2)
    cell = sheet.cell(row, 1, text)
    cell.font = typeface(bold=heading, size=14 if heading and row == 1 else 12 if heading else 11)
    cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet.row_dimensions[row].height = (20 if heading else 16) * math.ceil(len(text) / 120)
    return row + 1


def _pair(sheet: Worksheet, row: int, name: str | None, text: str) -> int:
    sheet.cell(row, 1, name)
    cell = sheet.cell(row, 2, text)
    cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet.row_dimensions[row].height = 16 * math.ceil(len(text) / 88)
    return row + 1


def write_examples(sheet: Worksheet, schema: Mapping[str, Table]) -> None:
    """One made-up case through all tables."""
    sheet.cell(1, 1, "EXAMPLE – a made-up case, to look at only. Enter nothing here; this sheet is never read.")
    sheet["A1"].font = typeface(bold=True, size=14, color="FF8B0000")
    row = 3
    for table in schema.values():
        sheet.cell(row, 1, f"Example of the sheet {table.name}").font = typeface(bold=True)
        for position, column in enumerate(table.columns.values(), start=1):
            header, cell = sheet.cell(row + 1, position, column.name), sheet.cell(row + 2, position, column.example)
            header.font, header.fill = HEADERS[how_needed(column)]
            cell.font, cell.alignment = typeface(italic=True), Alignment(horizontal="left")
            letter = get_column_letter(position)
            sheet.column_dimensions[letter].width = max(sheet.column_dimensions[letter].width, width(column.name))
        row += 4
    sheet.sheet_properties.tabColor = CLOSED
    protect(sheet)
