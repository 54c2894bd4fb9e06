"""What may stand in a column: numbers in its range, levels, years. Everything else is blank, told by its kind.

A number has two decimals at most, months one; nobody is told to be older than 90. A cell is read as a study's is, by
`intake/cells`, so words that a centre uses for levels must be confirmed in a file of reading.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from liftseries.base.numbers import plain
from liftseries.intake.cells.columns import read_column
from liftseries.intake.cells.numbers import value_class
from liftseries.intake.files.grid import BLANKS, Refused, is_blank
from liftseries.intake.identifiers.kinds import Role
from liftseries.intake.identifiers.screen import as_text, screen_refused
from liftseries.intake.identifiers.search import kinds_of
from liftseries.intake.told.verdicts import Fault
from liftseries.study.reading import Reading
from liftseries.study.schema import Column

DECIMALS = 2
DECIMALS_OF_MONTHS = 1  # a tenth is three days
OLDEST = 90  # 45 CFR 164.514(b)(2)(i)(C): ages over 89 may be one class
# Where a column's own range has no end, so that no telephone, record or post number fits: by unit, and by name where
# there is none. Common practice, no source.
WIDEST = {"mm": (-100, 100), "ml": (0, 100), "N cm": (0, 500), "rpm": (0, 50_000), "months": (0, 600)}
WIDEST_COUNT = {"operator_case_no": (1, 20_000), "step_no": (1, 1_000)}
SAY_WORDS = " If it is a word for a level or a missing value, confirm it in a file of reading (--reading)."


@dataclass
class Allowed:
    """What is written of a column, one a row, None where nothing is; and why, by row."""

    values: list[object]
    blanked: dict[int, str] = field(default_factory=dict)
    n_rounded: int = 0


def range_of(column: Column) -> tuple[float, float] | None:
    """Lowest and highest number that is written; None where a study's own column declares no range."""
    low = column.at_least if column.above is None else column.above
    ends = WIDEST_COUNT.get(column.name) or WIDEST.get(column.unit, (None, None))
    low, high = ends[0] if low is None else low, ends[1] if column.at_most is None else column.at_most
    return None if low is None or high is None else (low, high)


def allowed(cells: np.ndarray, column: Column, reading: Reading) -> Allowed:
    """The cells of a column of numbers, levels or dates that may be written.

    Parameters
    ----------
    cells : shape (n_rows,), raw cells
    column : of the schema or declared by the study
    reading : what the centre's file of reading confirms
    """
    filled = np.array([not (is_blank(cell) or cell != cell) for cell in cells], dtype=bool)
    if column.type == "date":
        return Allowed(
            [None] * len(cells), {int(at): "a date, which is not written: left blank." for at in np.flatnonzero(filled)}
        )
    read = read_column(np.where(filled, cells, None), column, reading)
    made = Allowed([None] * len(cells))
    found, values = _kinds(cells), read.values.astype(object).to_numpy()
    for at in map(int, np.flatnonzero(filled)):
        value = values[at]
        if pd.isna(value):
            fault = read.of_all or read.faults.get(at)
            if fault is not None:
                what, do = (found[at], "") if at in found else _why(cells[at], column, fault)
                made.blanked[at] = f"{what}: left blank.{do}"
        elif column.type == "category":
            made.values[at] = str(value)
        elif (number := _number(float(value), column)) is None:
            made.blanked[at] = f"{found.get(at) or _out_of_range(column)}: left blank."
        else:
            made.values[at] = plain(number)
            made.n_rounded += number != float(value)
    return made


def _number(value: float, column: Column) -> float | None:
    """To the decimals that are written, None out of range."""
    if column.levels:
        return value if value in column.levels else None
    ends = range_of(column)
    if not math.isfinite(value) or ends is None:
        return None
    rounded = round(value, DECIMALS_OF_MONTHS if column.unit == "months" else DECIMALS)
    if not ends[0] <= rounded <= ends[1] or (column.above is not None and rounded <= column.above):
        return None
    return min(rounded, OLDEST) if column.name == "age_years" else rounded + 0.0


def _out_of_range(column: Column) -> str:
    if column.levels:
        return "a number that is none of the column's"
    ends = range_of(column)
    if ends is None:
        return "a number of a column without a range; declare at_least and at_most under extra_columns"
    return f"a number out of the range that is written ({plain(ends[0])} to {plain(ends[1])})"


def _kinds(cells: np.ndarray) -> dict[int, str]:
    """By row what a text looks like; a date that a workbook keeps as one is told as such by `_why`."""
    kinds = screen_refused(cells, is_category=True)
    return {int(at): f"looks like {kind.words}" for kind, rows in kinds.items() for at in rows}


def _why(cell: object, column: Column, fault: Fault) -> tuple[str, str]:
    """The kind of what stands there, never the cell; and what to do, if that is not plain."""
    kind = value_class(cell)
    if isinstance(cell, Refused):
        return "a cell that the forms of the file of reading cannot take", f" {cell.message}"
    if kind == "date" or isinstance(cell, datetime.date):
        return "a date", ""
    if fault.rule == "decimal_mark_is_clear":
        return "a number whose mark may be one for thousands", ""
    if fault.rule == "unit_is_the_columns":
        return f"a number in another unit than {column.unit}", ""
    if fault.rule == "tooth_numbering_is_confirmed":
        return "teeth that only Universal numbers explain", " Say so in a file of reading (--reading)."
    if column.type == "category":
        what = "a text" if kind == "text" else "a number" if kind in ("integer", "number") else f"a cell ({kind})"
        return f"{what} that is no level of the column", SAY_WORDS
    if kind == "text":
        return "a text where a number is due", SAY_WORDS
    if kind in ("integer", "number"):
        return _out_of_range(column), ""
    return f"a cell ({kind}) where a number is due", ""


def looks_like(text: object) -> str:
    """What a text or number that would be kept looks like, empty where it looks like no identifier."""
    shown = as_text(text).strip(BLANKS)
    kinds = kinds_of([shown], Role.LABEL) | kinds_of([shown], Role.KEY) if shown else {}
    return next((kind.words for kind in kinds.values()), "")
