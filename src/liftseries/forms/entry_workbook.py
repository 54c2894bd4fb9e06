"""The entry workbook: a sheet a table to type a study into, which takes only what `check` takes, so far as a sheet can.

    read me       how it is filled in
    patients …    a sheet a table: header cells locked and noted, cells below open, drop-downs, limits, marks
    example       one case, on a sheet of its own that no study.yaml names, so that it can't be read as data
    lists         the levels that the drop-downs offer

Nothing is hidden and nothing has a password. The formulas are those of `spreadsheet_formulas`, the words those of the
data dictionary.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.workbook.protection import WorkbookProtection
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from liftseries.base.outputs import written_whole
from liftseries.forms.dictionary import Entry, about, entries
from liftseries.forms.spreadsheet_formulas import LAST, Formulas, address, whole_column
from liftseries.study.schema import Column, Table

READ_ME, EXAMPLE, LISTS = "read me", "example", "lists"
AS_TEXT = "@"  # a cell that keeps what is typed: 007 stays 007, 3-4 does not become a date
LONGEST_ERROR = 255  # characters that a program shows of a drop-down's or limit's message; common practice, no source

FONT = "Calibri"
INK, PAPER = "FF1D2730", "FFFFFFFF"
ALWAYS, SOMETIMES, OPTIONAL = "FF1F4E4A", "FFCFE3DF", "FFF1F3F2"  # header cells
MISSING, CLOSED, WRONG = "FFFFF0C2", "FFD9DCDE", "FFFBD5D5"  # marks; each has a line or a letter of its own too


def _font(color: str = INK, size: int = 11, **looks) -> Font:
    return Font(name=FONT, color=color, size=size, **looks)


HEADER_LINE = Border(bottom=Side("medium", color=INK))
HEADERS = {
    "is needed in every row": (_font(bold=True, color=PAPER), PatternFill("solid", fgColor=ALWAYS)),
    "is needed in some rows": (_font(bold=True, italic=True), PatternFill("solid", fgColor=SOMETIMES)),
    "may stay empty": (_font(), PatternFill("solid", fgColor=OPTIONAL)),
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


def write_entry_workbook(schema: Mapping[str, Table], path: Path | str) -> None:
    """The workbook for these tables, a study's own columns among them."""
    book = Workbook()
    book.properties.title, book.properties.creator = "Entry workbook", ""
    levels = _Lists(schema)
    _write_read_me(book.active, schema)
    for table in schema.values():
        _write_table(book.create_sheet(table.name), table, schema, levels)
    _write_examples(book.create_sheet(EXAMPLE), schema)
    levels.write(book.create_sheet(LISTS))
    book.security = WorkbookProtection(lockStructure=True)
    with written_whole(path) as temporary:
        book.save(temporary)


class _Lists:
    """The levels of every column, each in a column of one sheet: they may be more than a drop-down itself can hold."""

    def __init__(self, schema: Mapping[str, Table]):
        with_levels = [(table.name, column) for table in schema.values() for column in table.columns.values()]
        self._levels = {(table, column.name): column.levels for table, column in with_levels if column.levels}

    def of(self, table: Table) -> dict[str, str]:
        """Column -> the cells that hold its levels."""
        letters = {key: get_column_letter(position) for position, key in enumerate(self._levels, start=1)}
        return {
            column: f"{LISTS}!${letters[name, column]}$2:${letters[name, column]}${len(levels) + 1}"
            for (name, column), levels in self._levels.items()
            if name == table.name
        }

    def write(self, sheet: Worksheet) -> None:
        for position, ((table, column), levels) in enumerate(self._levels.items(), start=1):
            heading = sheet.cell(1, position, f"{table}: {column}")
            heading.font = _font(bold=True)
            for row, level in enumerate(levels, start=2):
                cell = sheet.cell(row, position, level)
                cell.number_format = AS_TEXT if isinstance(level, str) else "General"
            sheet.column_dimensions[get_column_letter(position)].width = _width(heading.value)
        sheet.freeze_panes = "A2"
        _protect(sheet)


# ── a table ─────────────────────────────────────────────────────────────────────────────────────


def _write_table(sheet: Worksheet, table: Table, schema: Mapping[str, Table], levels: _Lists) -> None:
    parents = {name: whole_column(schema[parent], schema[parent].key[0]) for name, parent in table.references.items()}
    formulas = Formulas(table, levels.of(table), parents)
    for position, entry in enumerate(entries(table), start=1):
        column = table.columns[entry.name]
        # The style of the whole column goes first: a cell that is made later would keep that of the sheet.
        whole = sheet.column_dimensions[get_column_letter(position)]
        whole.width = _width(column.name)
        whole.protection = Protection(locked=False)
        # A number keeps the general format: under a fixed one a date that a program makes of 5.2 would look like one.
        whole.number_format = AS_TEXT if column.type in ("text", "category") else "General"
        header = sheet.cell(1, position, column.name)
        header.font, header.fill = HEADERS[_how_needed(column)]
        header.border, header.alignment = HEADER_LINE, Alignment(vertical="center")
        header.number_format, header.protection = AS_TEXT, Protection(locked=True)
        header.comment = _note(entry)
        _limit(sheet, column, entry, formulas)
    sheet.row_dimensions[1].height = 24
    sheet.freeze_panes = f"{get_column_letter(len(table.key) + 1)}2"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", sheet.PAPERSIZE_A4
    sheet.sheet_properties.tabColor = ALWAYS
    _protect(sheet)


def _how_needed(column: Column) -> str:
    always, sometimes, never = HEADERS
    return sometimes if column.needed_when else always if column.required else never


def _note(entry: Entry) -> Comment:
    lines = [
        f"{entry.title}. {entry.means}",
        f"Holds: {entry.holds}.",
        f"Needed: {entry.needed}.",
        f"Measured: {entry.measured}" if entry.measured else "",
        f"Example: {entry.example}" if entry.example else "",
        f"Could point at a person: {entry.identifying}" if entry.identifying else "",
    ]
    text = "\n".join(line for line in lines if line)
    n_lines = sum(math.ceil(len(line) / 48) for line in text.splitlines())  # 48 characters fit beside each other
    return Comment(text, "", width=320, height=24 + 17 * n_lines)


def _limit(sheet: Worksheet, column: Column, entry: Entry, formulas: Formulas) -> None:
    """What the column's cells refuse when typed, and how they are marked whatever way it came."""
    cell = address(formulas.table, column.name)
    cells = f"{cell}:{address(formulas.table, column.name, LAST)}".replace("$", "")
    limit = _typed_limit(column, formulas)
    if limit:
        limit.allow_blank = limit.showErrorMessage = True
        limit.errorTitle, limit.error = column.name, _refusal(formulas.table, column, entry)[:LONGEST_ERROR]
        limit.add(cells)
        sheet.add_data_validation(limit)

    is_valid, not_allowed = formulas.is_valid(column), formulas.is_not_allowed(column)
    faults = [f"NOT({is_valid})" if is_valid else "", not_allowed, *formulas.breaks_a_rule(column)]
    if column.name in formulas.table.key:
        faults.append(formulas.is_repeated())
    faults = [fault for fault in faults if fault]
    is_empty = f'{cell}=""'
    _mark(sheet, cells, IS_WRONG, faults and f"IF({is_empty},FALSE,OR({','.join(faults)}))")
    does_not_apply = formulas.does_not_apply(column)
    _mark(sheet, cells, STAYS_EMPTY, does_not_apply and f"AND({is_empty},{does_not_apply})")
    needed = formulas.is_needed(column)
    _mark(sheet, cells, TO_FILL_IN, needed and f"AND({is_empty},{needed})")


def _typed_limit(column: Column, formulas: Formulas) -> DataValidation | None:
    if column.levels:
        return DataValidation("list", formula1=formulas.levels[column.name])
    if keys := formulas.parents.get(column.name):
        # Only as far as it is filled; a warning, as the other sheet may be filled in later.
        offered = f"OFFSET({keys.partition(':')[0]},0,0,MAX(1,COUNTA({keys})),1)"
        return DataValidation("list", formula1=offered, errorStyle="warning")
    if formulas.table.key == (column.name,):
        return DataValidation("custom", formula1=f"NOT({formulas.is_repeated()})")
    is_valid = formulas.is_valid(column)
    return DataValidation("custom", formula1=is_valid) if is_valid else None


def _refusal(table: Table, column: Column, entry: Entry) -> str:
    if column.name in table.references:
        parent = table.references[column.name]
        return f"It does not stand in the sheet {parent}. Choose one from the list, or enter it in {parent} first."
    if table.key == (column.name,):
        return f"It stands in a row above. No two rows may have the same {column.name}."
    unknown = "unknown" if "unknown" in column.levels else ""
    otherwise = "" if column.required and not unknown else f" Where there is none: {unknown or 'leave it empty'}."
    choose = "Choose from the list" if column.levels else "Enter"
    return f"{choose}: {entry.holds}.{otherwise}"


def _mark(sheet: Worksheet, cells: str, mark: str, formula: str | list) -> None:
    if formula:
        sheet.conditional_formatting.add(cells, FormulaRule(formula=[formula], stopIfTrue=True, **MARKS[mark]))


# ── read me, example ────────────────────────────────────────────────────────────────────────────


def _write_read_me(sheet: Worksheet, schema: Mapping[str, Table]) -> None:
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
        sample.font, sample.border = look.get("font", _font()), look.get("border", Border())
        row = _pair(sheet, row, "12.3" if words == IS_WRONG else None, f"A cell that {words}.")
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", sheet.PAPERSIZE_A4
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    _protect(sheet)


def _line(sheet: Worksheet, row: int, text: str, heading: bool = False) -> int:
    sheet.merge_cells(start_row=row, end_row=row, start_column=1, end_column=2)
    cell = sheet.cell(row, 1, text)
    cell.font = _font(bold=heading, size=14 if heading and row == 1 else 12 if heading else 11)
    cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet.row_dimensions[row].height = (20 if heading else 16) * math.ceil(len(text) / 120)
    return row + 1


def _pair(sheet: Worksheet, row: int, name: str | None, text: str) -> int:
    sheet.cell(row, 1, name)
    cell = sheet.cell(row, 2, text)
    cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet.row_dimensions[row].height = 16 * math.ceil(len(text) / 88)
    return row + 1


def _write_examples(sheet: Worksheet, schema: Mapping[str, Table]) -> None:
    sheet.cell(1, 1, "EXAMPLE – a made-up case, to look at only. Enter nothing here; this sheet is never read.")
    sheet["A1"].font = _font(bold=True, size=14, color="FF8B0000")
    row = 3
    for table in schema.values():
        sheet.cell(row, 1, f"Example of the sheet {table.name}").font = _font(bold=True)
        for position, column in enumerate(table.columns.values(), start=1):
            header, cell = sheet.cell(row + 1, position, column.name), sheet.cell(row + 2, position, column.example)
            header.font, header.fill = HEADERS[_how_needed(column)]
            cell.font, cell.alignment = _font(italic=True), Alignment(horizontal="left")
            letter = get_column_letter(position)
            sheet.column_dimensions[letter].width = max(sheet.column_dimensions[letter].width, _width(column.name))
        row += 4
    sheet.sheet_properties.tabColor = CLOSED
    _protect(sheet)


def _width(name: str) -> float:
    """In characters of the standard font, with room for bold ones and the arrow of a drop-down."""
    return max(13, 1.15 * len(name) + 3)


def _protect(sheet: Worksheet) -> None:
    """Locked without a password; widths, heights and the order of open cells stay the user's."""
    protection = sheet.protection
    protection.sheet = True
    protection.formatColumns = protection.formatRows = protection.sort = False  # False: not forbidden
