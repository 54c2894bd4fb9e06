"""A header of several rows, as study.yaml names them: one name a column, group names carried over their columns."""

from __future__ import annotations

from collections.abc import Sequence

from liftseries.base.numbers import counted
from liftseries.intake.files.grid import BLANKS, Grid, Remark, Unreadable, is_blank, spoken


def joined_header(grid: Grid, rows: Sequence[int]) -> list[object]:
    """The column names of a file whose header stands in several rows, joined by a blank.

    In a workbook a name holds for the columns that it is merged over. A CSV file does not show what was merged: there
    a name holds for the empty cells to its right, up to the next one, where a name stands below them.

    Parameters
    ----------
    grid
        The file's cells.
    rows : rising, as a spreadsheet shows them

    Raises
    ------
    Unreadable
        The file has no such row, or no name stands in them.
    """
    if rows[-1] > len(grid.records):
        message = f"`header_rows` names row {rows[-1]}, and the file has {len(grid.records)}. Correct the rows."
        raise Unreadable(grid.shown, message)
    width = max(len(grid.records[row - 1]) for row in rows)
    levels = [[_name(grid, row, position) for position in range(width)] for row in rows]
    for depth, row in enumerate(rows[:-1]):
        if grid.is_workbook:
            _carry_over_merges(grid, row, levels[depth])
        else:
            _carry_right(levels[depth], levels[depth + 1 :])
    names = [" ".join(dict.fromkeys(filter(None, parts))) or None for parts in zip(*levels, strict=True)]
    if not any(names):
        raise Unreadable(grid.shown, "the rows that `header_rows` names are empty. Correct the rows.")
    return list(names)


def tell_rows_beside(grid: Grid, beside: Sequence[int], header_rows: Sequence[int]) -> None:
    """Filled rows above the column names, or between those that `header_rows` names, which nobody reads."""
    between = [row for row in beside if header_rows and row > header_rows[0]]
    above = len(beside) - len(between)
    if above:
        stood, rule = f"{counted(above, 'filled row')} above the column names", "header_is_the_row_of_column_names"
        grid.remarks.append(Remark(None, None, stood, "a title, no part of the table", rule))
    if between:
        stood = f"{counted(len(between), 'filled row')} between the rows of `header_rows`, row {spoken(between)}"
        taken_for = "neither names nor data; name it there where it holds names"
        grid.remarks.append(Remark(None, None, stood, taken_for, "row_between_header_rows_is_not_read"))


def _name(grid: Grid, row: int, position: int) -> str:
    cells = grid.records[row - 1]
    if position >= len(cells) or is_blank(cells[position]):
        return ""
    cell = cells[position]
    whole = isinstance(cell, float) and cell.is_integer()
    return " ".join(str(int(cell) if whole else cell).strip(BLANKS).split())


def _carry_over_merges(grid: Grid, row: int, names: list[str]) -> None:
    for merge in grid.layout.merges:
        if merge.top <= row <= merge.bottom and merge.left < len(names):
            for position in range(merge.left + 1, min(merge.right + 1, len(names))):
                names[position] = names[position] or names[merge.left]


def _carry_right(names: list[str], below: list[list[str]]) -> None:
    for position in range(1, len(names)):
        if not names[position] and any(level[position] for level in below):
            names[position] = names[position - 1] if any(level[position - 1] for level in below) else ""
