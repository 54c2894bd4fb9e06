"""The looks of the entry workbook: fonts, header cells by how needed a column is, marks of cells, locks."""

from __future__ import annotations

from openpyxl.styles import Border, Font, PatternFill, Side
from openpyxl.worksheet.worksheet import Worksheet

from liftseries.study.schema import Column

AS_TEXT = "@"  # a cell that keeps what is typed: 007 stays 007, 3-4 does not become a date
FONT = "Calibri"
INK, PAPER = "FF1D2730", "FFFFFFFF"
ALWAYS, SOMETIMES, OPTIONAL = "FF1F4E4A", "FFCFE3DF", "FFF1F3F2"  # header cells
MISSING, CLOSED, WRONG = "FFFFF0C2", "FFD9DCDE", "FFFBD5D5"  # marks; each has a line or a letter of its own too


def typeface(color: str = INK, size: int = 11, **looks) -> Font:
    return Font(name=FONT, color=color, size=size, **looks)


HEADER_LINE = Border(bottom=Side("medium", color=INK))
HEADERS = {
    "is needed in every row": (typeface(bold=True, color=PAPER), PatternFill("solid", fgColor=ALWAYS)),
    "is needed in some rows": (typeface(bold=True, italic=True), PatternFill("solid", fgColor=SOMETIMES)),
    "may stay empty": (typeface(), PatternFill("solid", fgColor=OPTIONAL)),
}
DASHED = Border(*[Side("dashed", color="FF8A5A00")] * 4)
MARKS = {
    "is to be filled in": {"fill": PatternFill("solid", bgColor=MISSING), "border": DASHED},
    "has nothing to hold in this row": {"fill": PatternFill("solid", bgColor=CLOSED)},
    "is wrong: see the note of the header": {
        "fill": PatternFill("solid", bgColor=WRONG),
        "font": Font(bold=True, underline="single", color="FF8B0000"),  # a mark can't change name and size
    },
}
TO_FILL_IN, STAYS_EMPTY, IS_WRONG = MARKS


def how_needed(column: Column) -> str:
    """The key of HEADERS for a column."""
    always, sometimes, never = HEADERS
    return sometimes if column.needed_when else always if column.required else never


def width(name: str) -> float:
    """In characters of the standard font, with room for bold ones and the arrow of a drop-down."""
    return max(13, 1.15 * len(name) + 3)


def protect(sheet: Worksheet) -> None:
    """Locked without a password; widths, heights and the order of open cells stay the user's."""
    protection = sheet.protection
    protection.sheet = True
    protection.formatColumns = protection.formatRows = protection.sort = False  # False: not forbidden
