"""The sheet: one file of a table as raw cells, from CSV, a workbook or Parquet, with the place of every cell.

No cell is interpreted here. A row keeps the number that a spreadsheet shows, so the first row below the header is
row 2. What a file shows otherwise than it holds is settled by a rule and told as a decision, or refused.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from liftseries.base.reading import content
from liftseries.intake.files.csv_files import read_csv
from liftseries.intake.files.grid import (
    MOST_PLACES,
    Grid,
    Remark,
    SheetFault,
    Unreadable,
    all_blank,
    is_blank,
    letters,
    not_read_here,
    spread_too_far,
)
from liftseries.intake.files.header_line import NAMES, header_at, more_header, name_in
from liftseries.intake.files.joined_and_hidden import settle_hidden_columns, settle_hidden_rows, settle_merges
from liftseries.intake.files.joined_header import joined_header, tell_rows_beside
from liftseries.intake.files.parquet_files import read_parquet
from liftseries.intake.files.workbooks import read_workbook
from liftseries.intake.told.decisions import Decision
from liftseries.study.forms import Forms
from liftseries.study.plan_files import NO_FILE, PLAN_FILE, Source

AS_IT_STANDS = Forms()


@dataclass(frozen=True)
class Sheet:
    """One file of a table (in a workbook: one sheet of it) as raw cells."""

    source: Source
    shown: str  # `cases.xlsx, sheet sites`: what a place begins with
    is_workbook: bool
    header: list[object]
    header_row: int
    columns: list[np.ndarray]  # one object array a header cell, shape (n_rows,)
    rows: np.ndarray  # shape (n_rows,), numbers as a spreadsheet shows them
    ragged: dict[int, int]  # position among `rows` -> cells in the row: more than the header has, or in CSV fewer
    decisions: list[Decision] = field(default_factory=list)
    faults: list[SheetFault] = field(default_factory=list)
    left_out: tuple[int, ...] = ()  # those of `rows` that are hidden and that study.yaml leaves out
    beside: dict[int, list[object]] = field(default_factory=dict)  # row -> its cells: titles, units, no data
    # Of a sheet that forms made of another one: where its columns stand in the file, by position.
    origins: dict[int, np.ndarray | int | None] = field(default_factory=dict)  # one number, or one a row
    read_by: str = ""  # what says so
    # Which columns of the file this table answers for -> the table's column made of it; empty: nobody's, or ignored.
    named: dict[int, str] | None = None
    not_collected: tuple[str, ...] = ()  # columns that study.yaml says nobody recorded
    filled: Mapping[str, np.ndarray] = field(default_factory=dict)  # column -> rows whose cell was empty: `empty_means`

    def row_place(self, row: int) -> str:
        return f"{self.shown}, row {row}"

    def place(self, row: int, column: str, position: int | None, at: int | None = None) -> str:
        """Where a cell stands; `position` is its column's number from 0, None where the file has none.

        `at` is the row's position among `rows`, which tells apart rows that were made of one row of the file.
        """
        stands = self._in_file(position, at)
        if self.is_workbook and stands is not None:
            return f"{self.shown}, cell {letters(stands)}{row}, {column}"
        if self.origins and stands is not None:
            return f"{self.row_place(row)}, column {stands + 1} ({letters(stands)}), {column}"
        return f"{self.row_place(row)}, {column}"

    def header_place(self, position: int) -> str:
        stands = self._in_file(position, None)
        if stands is None:
            return self.row_place(self.header_row)
        if self.is_workbook:
            return f"{self.shown}, cell {letters(stands)}{self.header_row}"
        return f"{self.row_place(self.header_row)}, column {stands + 1} ({letters(stands)})"

    def _in_file(self, position: int | None, at: int | None) -> int | None:
        """A column's number in the file."""
        if position is None or position not in self.origins:
            return None if self.origins else position
        origin = self.origins[position]
        if not isinstance(origin, np.ndarray):
            return origin
        return None if at is None or origin[at] < 0 else int(origin[at])

    def without(self, rows: Collection[int]) -> Sheet:
        """The sheet without some of its rows."""
        return self.of_positions(np.flatnonzero(~np.isin(self.rows, list(rows))))

    def of_positions(self, kept: np.ndarray) -> Sheet:
        """The sheet with the rows alone that stand at these positions among `rows`."""
        now_at = {int(at): number for number, at in enumerate(kept)}
        return replace(
            self,
            columns=[column[kept] for column in self.columns],
            rows=self.rows[kept],
            origins={
                position: origin[kept] if isinstance(origin, np.ndarray) else origin
                for position, origin in self.origins.items()
            },
            ragged={now_at[at]: length for at, length in self.ragged.items() if at in now_at},
            filled={name: rows[kept] for name, rows in self.filled.items()},
        )


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


def _of_columns(source: Source, header: list[str], columns: list[list[object]]) -> Sheet:
    """Parquet has its names apart from its cells; they count as row 1."""
    filled = np.ones(len(columns[0]), dtype=bool)
    for at, cells in enumerate(zip(*columns, strict=True)):
        filled[at] = not all_blank(cells)
    rows = np.arange(2, len(filled) + 2)[filled]
    return Sheet(source, source.told, False, list(header), 1, [_cells(column)[filled] for column in columns], rows, {})


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
    columns = [_cells(column) for column in zip(*padded, strict=True)] if body else [_cells([])] * width
    return header, columns, ragged


def _decisions(sheet: Sheet, table: str, remarks: Sequence[Remark], names: Collection[str]) -> list[Decision]:
    """The reader's remarks in the table's words; what concerns rows that are no part of it goes."""
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


def _cells(values: Sequence[object]) -> np.ndarray:
    """An object array, also where the values would make another one."""
    cells = np.empty(len(values), dtype=object)
    cells[:] = values
    return cells
