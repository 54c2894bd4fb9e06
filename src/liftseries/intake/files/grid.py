"""A file as a grid of raw cells, before it is known where its header stands.

A cell is a text, a number, true or false, a date, None (empty) or an `Oddity` of a workbook. Rows count from 1,
as a spreadsheet shows them; columns by position from 0.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum

import numpy as np

DATES = (datetime.date, datetime.time, datetime.timedelta)
BLANKS = " \t\r\n\v\f\u00a0\u202f\ufeff\u200b"  # also non-breaking blanks and stray byte-order marks


MOST_PLACES = 20_000_000  # rows times columns, filled or not
MOST_COLUMNS = 16_384  # as many as a spreadsheet has
LONGEST_TEXT = 32_767  # characters, as in a cell of a spreadsheet


class Oddity(Enum):
    """What a workbook may hold in the place of a value."""

    ERROR = "error"
    FORMULA = "formula"  # without a stored value
    MERGED = "merged"  # with cells of other columns
    DISGUISED = "disguised"  # a number whose format shows another one, or nothing


class Absent(Enum):
    """A cell that study.yaml calls missing: as good as empty, but not what the centre left blank."""

    SAID = "empty"


@dataclass(frozen=True)
class Refused:
    """A cell that a form of reading could not take, in the place of a value."""

    rule: str
    message: str
    kind: str  # what stood there: text, number ...
    stood: object = field(default=None, repr=False, compare=False)


class Unreadable(Exception):
    """A file that gives no cells; the user is told where and why."""

    def __init__(self, place: str, message: str, rule: str = "file_is_readable"):
        super().__init__(message)
        self.place, self.message, self.rule = place, message, rule


@dataclass(frozen=True)
class Merge:
    """Cells joined into one: rows from 1, columns from 0, both ends within."""

    top: int
    left: int
    bottom: int
    right: int


@dataclass(frozen=True)
class Layout:
    """What a workbook joins and hides of a sheet."""

    merges: tuple[Merge, ...] = ()
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()  # positions
    extent: tuple[int, int] = (0, 0)  # last row and last column that the sheet names, from 1
    is_filtered: bool = False  # then the hidden rows are taken to be hidden by the filter


@dataclass(frozen=True)
class Remark:
    """A decision that a reader took, before the table's own words are known for it."""

    row: int | None
    position: int | None  # of the column; None where a whole row or sheet is meant
    stood: str
    taken_for: str
    rule: str


@dataclass(frozen=True)
class SheetFault:
    """What is wrong with a file that can be read all the same; no row's fault."""

    rule: str
    place: str
    message: str


@dataclass
class Grid:
    """The cells of one file, or of one sheet of a workbook."""

    shown: str  # `cases.xlsx, sheet sites`: what a place begins with
    is_workbook: bool
    records: list[list[object]]  # a row of the file each; the first is row 1
    layout: Layout = Layout()
    remarks: list[Remark] = field(default_factory=list)
    kept_back: dict[int, list[object]] = field(default_factory=dict)  # row -> cells of hidden columns, left out
    any_extra_cell: bool = False  # a cell too many counts though it is empty


def spread_too_far(place: str) -> Unreadable:
    """What is told of a table that would fill the memory with empty cells."""
    message = f"spreads over more than {MOST_PLACES} cells, most of them empty. Delete what stands far from the table."
    return Unreadable(place, message)


OTHER_FORMATS = {
    ".ods": "an OpenDocument spreadsheet",
    ".xls": "a workbook of the format of before 2007",
    ".xlsb": "a binary workbook",
    ".numbers": "a Numbers spreadsheet",
}


def not_read_here(label: str, ending: str) -> Unreadable:
    """What is told of a file of another format, with what to save it as."""
    if kind := OTHER_FORMATS.get(ending):
        advice = "Save it as XLSX, or each sheet as CSV (UTF-8), and name that in study.yaml."
        return Unreadable(label, f"{kind}, which is not read here. {advice}")
    return Unreadable(label, "no format that is read here. Save it as CSV (UTF-8), XLSX or Parquet.")


def letters(position: int) -> str:
    """A column's letters in a spreadsheet: 0 is A, 26 is AA."""
    name, left = "", position + 1
    while left:
        left, digit = divmod(left - 1, 26)
        name = chr(ord("A") + digit) + name
    return name


def is_blank(cell: object) -> bool:
    """Empty, or a text of blanks."""
    return cell is None or cell is Absent.SAID or (isinstance(cell, str) and not cell.strip(BLANKS))


def all_blank(cells: Sequence[object]) -> bool:
    return all(map(is_blank, cells))


def object_array(values: Sequence[object]) -> np.ndarray:
    """An object array, also where the values would make another one."""
    cells = np.empty(len(values), dtype=object)
    cells[:] = values
    return cells


def spoken(numbers: Sequence[int]) -> str:
    """`2, 4 to 6` of 2, 4, 5, 6; long lists end in `and n more`."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    told = [str(first) if first == last else f"{first} to {last}" for first, last in runs]
    return ", ".join(told) if len(told) <= 5 else f"{', '.join(told[:5])} and {len(told) - 5} more"
