"""What a workbook joins and hides, settled for one table: merged cells, hidden rows and hidden columns.

A merge down one column holds for each of its rows. Any other merge leaves open what belongs to which cell, so that
its cells are no values. What is hidden is refused, read or left out, as study.yaml says; nothing of it is guessed.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence

from liftseries.intake.files.grid import (
    MOST_PLACES,
    Grid,
    Merge,
    Oddity,
    Remark,
    SheetFault,
    Unreadable,
    is_blank,
    letters,
    spoken,
    spread_too_far,
)
from liftseries.study.plan_files import PLAN_FILE

MOST_MERGED = 1_000_000  # cells
SAY_SO = f"Unhide or delete them, or write `hidden: read` or `hidden: leave_out` under `reading` in {PLAN_FILE}."


def settle_hidden_columns(grid: Grid, hidden: str) -> list[SheetFault]:
    """Hidden columns that hold something: a fault, a remark each, or emptied in the grid."""
    width = max(map(len, grid.records), default=0)
    found = [
        position
        for position in range(width)
        if position in grid.layout.hidden_columns and not all(is_blank(cell) for cell in _column(grid, position))
    ]
    if found and hidden == "refuse":
        named = ", ".join(letters(position) for position in found)
        message = f"what stands in hidden columns ({named}) is not read. {SAY_SO}"
        return [SheetFault("column_is_shown", grid.shown, message)]
    for position in found:
        if hidden == "read":
            taken_for = "a column like any other"
        else:
            taken_for = "nothing: the column is left out"
            for row, cells in enumerate(grid.records, start=1):
                if position < len(cells):
                    grid.kept_back.setdefault(row, [None] * width)[position] = cells[position]
                    cells[position] = None
        grid.remarks.append(Remark(None, position, "a hidden column", taken_for, f"hidden_column_is_{_done(hidden)}"))
    return []


def settle_hidden_rows(grid: Grid, hidden: str, rows: Sequence[int]) -> list[SheetFault]:
    """Those of the rows of the table that are hidden: a fault, or a remark each."""
    found = [row for row in rows if row in grid.layout.hidden_rows]
    if found and hidden == "refuse":
        how = "hidden, some by a filter" if grid.layout.is_filtered else "hidden"
        which = f"row {found[0]} is" if len(found) == 1 else f"the rows {spoken(found)} are"
        return [SheetFault("row_is_shown", grid.shown, f"{which} {how}. {SAY_SO}")]
    for row in found:
        taken_for = "a row like any other" if hidden == "read" else "nothing: the row is left out"
        grid.remarks.append(Remark(row, None, "a hidden row", taken_for, f"hidden_row_is_{_done(hidden)}"))
    return []


def settle_merges(grid: Grid, header_row: int, rows: Sequence[int], header_is_joined: bool = False) -> None:
    """Fills the cells of merges down one column; marks the cells of all others.

    Parameters
    ----------
    grid
        Its records are changed.
    header_row
        Merges above it are no part of the table.
    rows : ascending, the filled rows below the header
    header_is_joined
        Several rows hold the names, and merges within them have been taken into account.

    Raises
    ------
    Unreadable
        The header's cells are merged, merges overlap, or there are more than is read.
    """
    width = max(map(len, grid.records), default=0)
    if grid.layout.merges and width * len(rows) > MOST_PLACES:
        raise spread_too_far(grid.shown)
    seen: set[tuple[int, int]] = set()
    for merge in grid.layout.merges:
        if merge.left >= width or merge.bottom < header_row + header_is_joined:
            continue
        if merge.top <= header_row:
            message = "cells of the header are merged. Unmerge them; one row holds one name over each column. "
            message += f"Where several rows hold the names, name them as `header_rows`, under `files` in {PLAN_FILE}."
            raise Unreadable(f"{grid.shown}, cells {_reference(merge)}", message, "header_is_one_row")
        inside = rows[bisect_left(rows, merge.top) : bisect_right(rows, merge.bottom)]
        columns = range(merge.left, min(merge.right, width - 1) + 1)
        if len(seen) + len(inside) * len(columns) > MOST_MERGED:
            message = f"more than {MOST_MERGED} cells of the table are merged. Unmerge them; a cell holds for one row."
            raise Unreadable(grid.shown, message)
        for row in inside:
            for position in columns:
                if (row, position) in seen:
                    message = "merged cells overlap, so the workbook is damaged. Unmerge them."
                    raise Unreadable(f"{grid.shown}, cells {_reference(merge)}", message)
                seen.add((row, position))
        if len(columns) == 1:
            _fill_down(grid, merge, inside)
        else:
            for row in inside:
                for position in columns:
                    _put(grid, row, position, Oddity.MERGED)


def _fill_down(grid: Grid, merge: Merge, rows: Sequence[int]) -> None:
    value = _at(grid, merge.top, merge.left)
    if is_blank(value):
        return
    for row in rows:
        held = _at(grid, row, merge.left)
        if is_blank(held):
            _put(grid, row, merge.left, value)
            taken_for = f"the value of cell {letters(merge.left)}{merge.top}, with which it is merged"
            grid.remarks.append(Remark(row, merge.left, "a merged cell", taken_for, "merged_cell_holds_for_its_rows"))
        elif held != value:
            _put(grid, row, merge.left, Oddity.MERGED)  # another value lies beneath


def _column(grid: Grid, position: int) -> list[object]:
    return [cells[position] if position < len(cells) else None for cells in grid.records]


def _at(grid: Grid, row: int, position: int) -> object:
    cells = grid.records[row - 1] if row <= len(grid.records) else []
    return cells[position] if position < len(cells) else None


def _put(grid: Grid, row: int, position: int, value: object) -> None:
    cells = grid.records[row - 1]
    cells.extend([None] * (position + 1 - len(cells)))
    cells[position] = value


def _reference(merge: Merge) -> str:
    return f"{letters(merge.left)}{merge.top}:{letters(merge.right)}{merge.bottom}"


def _done(hidden: str) -> str:
    return {"read": "read", "leave_out": "left_out"}[hidden]
