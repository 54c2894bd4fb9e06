"""A file of a table read: CSV, a workbook or Parquet to the sheet of its raw cells."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from liftseries.base.reading import content
from liftseries.intake.files.csv_columns import PlainColumns
from liftseries.intake.files.csv_files import read_csv, read_plain_csv
from liftseries.intake.files.grid import (
    MOST_PLACES,
    Grid,
    Remark,
    Unreadable,
    all_blank,
    is_blank,
    not_read_here,
    object_array,
    spread_too_far,
)
from liftseries.intake.files.header_line import LOOKED_THROUGH, NAMES, header_at, more_header, name_in
from liftseries.intake.files.joined_and_hidden import settle_hidden_columns, settle_hidden_rows, settle_merges
from liftseries.intake.files.joined_header import joined_header, tell_rows_beside
from liftseries.intake.files.parquet_files import read_parquet
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.files.workbooks import read_workbook
from liftseries.intake.told.decisions import Decision
from liftseries.study.forms import Forms
from liftseries.study.plan_files import NO_FILE, PLAN_FILE, Source

AS_IT_STANDS = Forms()


def read_sheet(
    source: Source,
    table: str,
    names: Collection[str] = (),
    hidden: str = "refuse",
    forms: Forms = AS_IT_STANDS,
) -> Sheet:
    """The cells of one file.

    Parameters
    ----------
    source
        The file, as study.yaml names it.
    table : name of the table, which a sheet may be called after
    names
        The columns that the table may have, by which its header is known below a title; none where it must stand
        first.
    hidden : refuse, read or leave_out
        What to do with rows and columns that a workbook hides.
    forms
        Where the header stands, and how a CSV file is encoded and separated.

    Raises
    ------
    Unreadable
        No such file, not allowed, no format that can be read, damaged, encrypted, not UTF-8, beyond a limit, empty,
        or with more than one header row.
    """
    label, path = source.told, source.path
    _check_opens(source, table)
    ending = path.suffix.lower()
    if source.sheet and ending not in (".xlsx", ".xlsm"):
        raise Unreadable(label, "only a workbook (.xlsx) has sheets. Leave out what follows the #.")
    match ending:
        case ".csv" | ".txt":
            plain = None if forms.header_rows else read_plain_csv(source, forms.encoding, forms.separator)
            if plain and (sheet := _of_plain_lines(source, table, plain, names)):
                return sheet
            grid = read_csv(source, forms.encoding, forms.separator)
            return _sheet(source, table, grid, names, hidden, forms.header_rows)
        case ".xlsx" | ".xlsm":
            return _sheet(source, table, read_workbook(source, table), names, hidden, forms.header_rows)
        case ".parquet":
            return _of_columns(source, *read_parquet(source))
        case _:
            raise not_read_here(label, ending)


def _check_opens(source: Source, table: str) -> None:
    path, name, where = source.path, source.told_file, f"{PLAN_FILE}, tables, {table}"
    try:
        if path.is_dir():
            raise Unreadable(where, f"{name}: is a folder, not a file. Name a file in it.", "file_is_there")
        if not path.is_file():
            message = NO_FILE if path.exists() else "there is no such file. Correct the name or add the file."
            raise Unreadable(where, f"{name}: {message}", "file_is_there")
        content(path, 0)
    except OSError as error:
        message = f"cannot be opened ({error.strerror}). Correct its name or who may read it."
        raise Unreadable(name, message) from None


def _of_columns(source: Source, header: list[str], columns: list[np.ndarray], filled: np.ndarray) -> Sheet:
    """Parquet has its names apart from its cells; they count as row 1."""
    rows = np.flatnonzero(filled) + 2
    return Sheet(source, source.told, False, list(header), 1, [column[filled] for column in columns], rows, {})


def _of_plain_lines(source: Source, table: str, plain: PlainColumns, names: Collection[str]) -> Sheet | None:
    """The sheet that `_sheet` makes of these lines; None where its header is not simply the first of them."""
    filled = plain.filled()
    if not len(filled):
        return None
    first = [plain.line(at) for at in filled[:LOOKED_THROUGH]]
    header, header_row, below = first[0], int(filled[0]) + 1, filled[1:]
    if header_at(first, names) or is_blank(header[-1]):
        return None
    grid, no_data = Grid(source.told, False, []), {}
    if names:
        looked = np.union1d(below[:1], plain.beginning_as(header[0], below))
        no_data = _no_data(grid, header, header_row, [(int(at) + 1, plain.line(at)) for at in looked], names)
    body = below[~np.isin(below, [row - 1 for row in no_data])] if no_data else below
    sheet = Sheet(
        source, grid.shown, False, header, header_row, plain.columns(body), body + 1, ragged={}, beside=no_data
    )
    return replace(sheet, decisions=_decisions(sheet, table, grid.remarks, names))


def _sheet(
    source: Source, table: str, grid: Grid, names: Collection[str], hidden: str, header_rows: Sequence[int]
) -> Sheet:
    """Blank rows dropped, the header found, what is joined or hidden settled, every row as long as the header."""
    faults = settle_hidden_columns(grid, hidden)
    numbered = [(row, cells) for row, cells in enumerate(grid.records, start=1) if not all_blank(cells)]
    gone = grid.layout.hidden_rows if hidden == "leave_out" else frozenset()
    seen = [(row, cells) for row, cells in numbered if row not in gone]
    if not seen:
        message = "is empty, without a header line. Start from the table that `liftseries new` writes."
        raise Unreadable(grid.shown, message)
    if header_rows:
        header_row, header = header_rows[-1], joined_header(grid, header_rows)
    else:
        header_row, header = seen[header_at([cells for _, cells in seen], names)]
    beside = {row: cells for row, cells in numbered if row < header_row and row not in header_rows}
    tell_rows_beside(grid, list(beside), header_rows)
    settle_merges(grid, header_row, [row for row, _ in numbered if row > header_row], bool(header_rows))
    below = [(row, cells) for row, cells in seen if row > header_row]
    no_data = _no_data(grid, header, header_row, below, names) if names else {}
    beside |= no_data
    beside = {row: cells for row, cells in grid.kept_back.items() if row not in beside} | beside
    body = [(row, cells) for row, cells in numbered if row > header_row and row not in no_data]
    rows = [row for row, _ in body]
    faults += settle_hidden_rows(grid, hidden, [header_row, *rows])
    header, columns, ragged = _columns(grid, header, body)
    sheet = Sheet(
        source=source,
        shown=grid.shown,
        is_workbook=grid.is_workbook,
        header=header,
        header_row=header_row,
        columns=columns,
        rows=np.array(rows, dtype=int),
        ragged=ragged,
        faults=faults,
        left_out=tuple(row for row in rows if row in gone),
        beside=beside,
    )
    return replace(sheet, decisions=_decisions(sheet, table, grid.remarks, names))


def _no_data(
    grid: Grid,
    header: Sequence[object],
    header_row: int,
    below: Sequence[tuple[int, list[object]]],
    names: Collection[str],
) -> dict[int, list[object]]:
    """Rows below the header that are more of it: row -> cells, each with a remark."""
    found = {}
    for at, kind in more_header(header, [cells for _, cells in below], names).items():
        row, cells = below[at]
        if kind == NAMES:
            message = f"holds column names as row {header_row} does. Keep one row with all column names."
            raise Unreadable(f"{grid.shown}, row {row}", message, "header_is_one_row")
        found[row] = cells
        grid.remarks.append(Remark(row, None, kind, "no data", "row_of_the_header_is_no_data"))
    return found


def _columns(
    grid: Grid, header: Sequence[object], body: Sequence[tuple[int, Sequence[object]]]
) -> tuple[list[object], list[np.ndarray], dict[int, int]]:
    """The header, the columns below it, and which rows have more cells than the header, or in CSV fewer."""
    written, header = len(header), list(header)
    while header and is_blank(header[-1]) and not grid.is_workbook:
        if any(len(cells) >= len(header) and not is_blank(cells[len(header) - 1]) for _, cells in body):
            break
        header.pop()
    # In a workbook a cell keeps its column, so one beyond the header is a column without a name.
    width = max([len(header), *(len(cells) for _, cells in body)]) if grid.is_workbook else len(header)
    # A header line that itself ends in empty cells: some programs write every line so.
    any_extra_cell = grid.any_extra_cell and written == len(header)
    header += [None] * (width - len(header))
    if width * len(body) > MOST_PLACES:
        raise spread_too_far(grid.shown)
    ragged = {
        at: len(cells)
        for at, (_, cells) in enumerate(body)
        if (len(cells) > width and (any_extra_cell or not all_blank(cells[width:])))
        # In CSV nobody knows which cells are missing from a short row; in a workbook a cell keeps its column.
        or (len(cells) < width and not grid.is_workbook)
    }
    padded = [[*cells[:width], *[None] * (width - len(cells))] for _, cells in body]
    columns = [object_array(column) for column in zip(*padded, strict=True)] if body else [object_array([])] * width
    return header, columns, ragged


def _decisions(sheet: Sheet, table: str, remarks: Sequence[Remark], names: Collection[str]) -> list[Decision]:
    """The reader's remarks in the table's words; what concerns rows that are no part of it goes."""
    if not remarks:
        return []
    rows = {sheet.header_row, *sheet.rows.tolist(), *(row for row in sheet.beside if row > sheet.header_row)}
    decisions = []
    for remark in remarks:
        row, position = remark.row, remark.position
        if (row is not None and row not in rows) or (position is not None and position >= len(sheet.header)):
            continue
        name = "" if position is None else name_in(sheet.header[position])
        column = name if name in names else ""
        if position is None:
            place = sheet.shown if row is None else sheet.row_place(row)
        elif row is None:
            place = sheet.header_place(position)
        else:
            place = sheet.place(row, column, position).removesuffix(", ")
        decisions.append(
            Decision(table, sheet.source.told, row, column, place, remark.stood, remark.taken_for, remark.rule)
        )
    return decisions
