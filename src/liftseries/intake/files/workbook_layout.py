"""What a sheet of a workbook joins and hides: merged cells, hidden rows and columns, an active filter, its extent.

Source: ECMA-376, Office Open XML, part 1, 18.3.1.
"""

from __future__ import annotations

import re
from xml.parsers import expat

from liftseries.intake.files.grid import Layout, Merge, Unreadable
from liftseries.intake.files.workbook_parts import Damaged

LAST_ROW, LAST_COLUMN = 2**20, 2**14  # of a spreadsheet
MOST_MERGES = 100_000
CELL = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")


def layout_of(sheet: bytes) -> Layout:
    """Merged cells, hidden rows and columns, an active filter.

    Raises
    ------
    Damaged
        Rows or cells out of order, which the reader of cells would lose, or beyond the last of a spreadsheet.
    Unreadable
        More merges than are read.
    """
    survey = _Survey()
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = survey.start
    parser.Parse(sheet, True)
    return Layout(
        merges=tuple(survey.merges),
        hidden_rows=frozenset(survey.hidden_rows),
        hidden_columns=frozenset(survey.hidden_columns),
        extent=(survey.row, survey.last_column),
        is_filtered=survey.is_filtered,
    )


class _Survey:
    def __init__(self):
        self.merges: list[Merge] = []
        self.hidden_rows: set[int] = set()
        self.hidden_columns: set[int] = set()
        self.n_column_ranges = 0
        self.is_filtered = False
        self.row = self.column = self.last_column = 0

    def start(self, name: str, given: dict[str, str]) -> None:
        match name.rpartition(" ")[2]:
            case "c":
                column = _position_of(given["r"], self.row) if "r" in given else self.column + 1
                if not self.column < column <= LAST_COLUMN:
                    raise Damaged
                self.column = column
                self.last_column = max(self.last_column, column)
            case "row":
                row = int(given["r"]) if "r" in given else self.row + 1
                if not self.row < row <= LAST_ROW:
                    raise Damaged
                self.row, self.column = row, 0
                if _hidden(given, "ht"):
                    self.hidden_rows.add(row)
            case "col":
                self.n_column_ranges += 1
                if self.n_column_ranges > LAST_COLUMN:
                    raise Damaged
                if _hidden(given, "width"):
                    self.hidden_columns.update(range(int(given["min"]) - 1, min(int(given["max"]), LAST_COLUMN)))
            case "mergeCell":
                if len(self.merges) == MOST_MERGES:
                    raise Unreadable("", f"merges cells in more than {MOST_MERGES} places. Unmerge them.")
                self.merges.append(_merge(given["ref"]))
            case "filterColumn":
                self.is_filtered = True


def _hidden(given: dict[str, str], size: str) -> bool:
    return given.get("hidden") in ("1", "true") or float(given.get(size, 1)) == 0


def _position_of(reference: str, row: int) -> int:
    """The column, from 1, of a cell that must stand in that row."""
    found = CELL.fullmatch(reference)
    if not found or int(found[2]) != row:
        raise Damaged
    return _column_of(found[1])


def _column_of(name: str) -> int:
    """The number, from 1, of a column by its letters."""
    number = 0
    for letter in name:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number


def _merge(reference: str) -> Merge:
    first, _, last = reference.partition(":")
    corners = [CELL.fullmatch(corner) for corner in (first, last or first)]
    if not all(corners):
        raise Damaged
    rows, columns = zip(*((int(corner[2]), _column_of(corner[1]) - 1) for corner in corners), strict=True)
    return Merge(min(rows), min(columns), max(rows), max(columns))
