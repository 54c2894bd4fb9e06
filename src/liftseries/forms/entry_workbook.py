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
from openpyxl.styles import Alignment, Protection
from openpyxl.utils import get_column_letter
from openpyxl.workbook.protection import WorkbookProtection
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from liftseries.base.outputs import written_whole
from liftseries.forms.dictionary import Entry, entries
from liftseries.forms.entry_guide import EXAMPLE, LISTS, write_examples, write_read_me
from liftseries.forms.entry_looks import (
    ALWAYS,
    AS_TEXT,
    HEADER_LINE,
    HEADERS,
    IS_WRONG,
    MARKS,
    STAYS_EMPTY,
    TO_FILL_IN,
    how_needed,
    protect,
    typeface,
    width,
)
from liftseries.forms.spreadsheet_formulas import LAST, Formulas, address, whole_column
from liftseries.study.schema import Column, Table

LONGEST_ERROR = 255  # characters that a program shows of a drop-down's or limit's message; common practice, no source


def write_entry_workbook(schema: Mapping[str, Table], path: Path | str) -> None:
    """The workbook for these tables, a study's own columns among them."""
    book = Workbook()
    book.properties.title, book.properties.creator = "Entry workbook", ""
    levels = _Lists(schema)
    write_read_me(book.active, schema)
    for table in schema.values():
        _write_table(book.create_sheet(table.name), table, schema, levels)
    write_examples(book.create_sheet(EXAMPLE), schema)
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
            heading.font = typeface(bold=True)
            for row, level in enumerate(levels, start=2):
                cell = sheet.cell(row, position, level)
                cell.number_format = AS_TEXT if isinstance(level, str) else "General"
            sheet.column_dimensions[get_column_letter(position)].width = width(heading.value)
        sheet.freeze_panes = "A2"
        protect(sheet)


def _write_table(sheet: Worksheet, table: Table, schema: Mapping[str, Table], levels: _Lists) -> None:
    parents = {name: whole_column(schema[parent], schema[parent].key[0]) for name, parent in table.references.items()}
    formulas = Formulas(table, levels.of(table), parents)
    for position, entry in enumerate(entries(table), start=1):
        column = table.columns[entry.name]
        # The style of the whole column goes first: a cell that is made later would keep that of the sheet.
        whole = sheet.column_dimensions[get_column_letter(position)]
        whole.width = width(column.name)
        whole.protection = Protection(locked=False)
        # A number keeps the general format: under a fixed one a date that a program makes of 5.2 would look like one.
        whole.number_format = AS_TEXT if column.type in ("text", "category") else "General"
        header = sheet.cell(1, position, column.name)
        header.font, header.fill = HEADERS[how_needed(column)]
        header.border, header.alignment = HEADER_LINE, Alignment(vertical="center")
        header.number_format, header.protection = AS_TEXT, Protection(locked=True)
        header.comment = _note(entry)
        _limit(sheet, column, entry, formulas)
    sheet.row_dimensions[1].height = 24
    sheet.freeze_panes = f"{get_column_letter(len(table.key) + 1)}2"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", sheet.PAPERSIZE_A4
    sheet.sheet_properties.tabColor = ALWAYS
    protect(sheet)


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
