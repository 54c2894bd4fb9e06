"""Cells of a correction workbook: its own columns' titles, its looks, and texts that stay texts in every program."""

from __future__ import annotations

import math
import re

from openpyxl.cell import Cell
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Font
from openpyxl.worksheet.worksheet import Worksheet

from liftseries.intake.corrections.fingerprint import as_text

# Titles with a blank, so that no column of a table can have the same name.
KEY, FILE, ROW, WRONG = "key of the row", "in file", "in row", "what is wrong"
OUT, REASON, PERSON, MARK = "leave out?", "reason for the change", "changed by", "do not change"
FRONT = (KEY, FILE, ROW, WRONG, OUT, REASON, PERSON)
TO_FILL_IN = (OUT, REASON, PERSON)
LONGEST_CELL = 32767  # what a workbook holds in one cell
NOT_IN_A_WORKBOOK = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff\ud800-\udfff]")
FACE = "Calibri"  # what a new workbook has
BOLD = Font(name=FACE, bold=True)
WRAPPED = Alignment(wrap_text=True, vertical="top")
LINE_POINTS = 15  # height of one line of text


def shown(cell: object) -> str:
    """A raw cell as the workbook shows it: a text without what a workbook can't hold."""
    text = as_text(cell).replace("\r\n", "\n").replace("\r", "\n")
    return NOT_IN_A_WORKBOOK.sub("", text)[:LONGEST_CELL]


def put(sheet: Worksheet, row: int, column: int, value: str | int) -> Cell:
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


def note(cell: Cell, text: str) -> None:
    """A note as high as its text."""
    lines = sum(math.ceil(len(line) / 45) or 1 for line in text.split("\n"))
    cell.comment = Comment(text, "liftseries", width=320, height=20 * (lines + 1))


def protect(sheet: Worksheet) -> None:
    """Against slips only, so without a password; widths, heights and the filter stay free."""
    sheet.protection.sheet = True
    sheet.protection.formatColumns = sheet.protection.formatRows = False
    sheet.protection.autoFilter = sheet.protection.sort = False
