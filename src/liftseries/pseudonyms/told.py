"""What the user is told: remarks on cells, gathered by cause, each with its count and at most five places."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from liftseries.base.errors import Problem
from liftseries.base.numbers import counted
from liftseries.intake.files.grid import letters

MOST_PLACES = 5


@dataclass(frozen=True)
class Remark:
    """What was found at a cell, a row, a column or a file. Quotes no cell and no name of a file."""

    file: str  # `sites` or `sites, file 2`
    message: str
    column: str = ""  # a name of the dictionary's, or `column 24 (X)`
    row: int | None = None  # as a spreadsheet shows it
    position: int | None = None  # of the column in a workbook, which names cells


def gathered(remarks: Iterable[Remark]) -> list[Problem]:
    """One line a cause: file, column and message; in the order in which they were first found.

    Remarks on whole columns that say the same are one line, with the columns as its places.
    """
    causes: dict[tuple[str, str, str], list[Remark]] = {}
    for remark in remarks:
        column = "" if remark.row is None else remark.column
        causes.setdefault((remark.file, column, remark.message), []).append(remark)
    return [_line(alike) for alike in causes.values()]


def _line(alike: list[Remark]) -> Problem:
    first = alike[0]
    if first.row is None:
        columns = [remark.column for remark in alike if remark.column]
        return Problem(", ".join([first.file, _some(columns)] if columns else [first.file]), first.message)
    is_cell = first.position is not None
    places = [f"{letters(remark.position)}{remark.row}" if is_cell else str(remark.row) for remark in alike]
    word = "cell" if is_cell else "row"
    where = [first.file, f"{word}{'s' if len(places) > 1 else ''} {_some(places)}", first.column]
    count = f"{counted(len(alike), 'cell' if first.column else 'row')}: " if len(alike) > 1 else ""
    return Problem(", ".join(filter(None, where)), f"{count}{first.message}")


def _some(places: list[str]) -> str:
    more = f" and {len(places) - MOST_PLACES} more" if len(places) > MOST_PLACES else ""
    return ", ".join(places[:MOST_PLACES]) + more
