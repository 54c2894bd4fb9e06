"""Cells to values: what a text, number, date or oddity of a file means in a column of a given type.

The same number may be written 5.2 or 5,2; blanks around a text and the letter case of a level do not matter.
A cell that cannot be read becomes missing and a `Fault`, whose message never quotes a text.
"""

from __future__ import annotations

import math
import re
import sys
import unicodedata
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from liftseries.intake.sources import BLANKS, DATES, Oddity, is_blank
from liftseries.schema import Column

NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
MARKED_NUMBER = re.compile(r"[+-]?[0-9][0-9.,'’\s]*")  # marks for thousands, or two decimal marks
LARGEST_EXACT = 2**53  # whole numbers up to here survive as floating point
DUE = {"integer": "a whole number", "number": "a number"}
WHAT = {"date": "a date", "boolean": "true or false", "error": "an error of the workbook"}


@dataclass(frozen=True)
class Fault:
    """Why a cell gives no value."""

    rule: str
    message: str


ODDITIES = {
    "formula": Fault(
        "formula_has_a_value",
        "a formula without a stored value. Open and save the workbook, so that its values are stored.",
    ),
    "merged": Fault(
        "cell_stands_alone",
        "a cell merged with others that do not hold the same. Unmerge them and fill in each.",
    ),
    "disguised": Fault(
        "format_shows_the_number",
        "a number whose format shows something else: a percentage, thousands or no number. "
        "Give the cell the format General and enter what it is to be.",
    ),
}


def read_column(raw: np.ndarray, column: Column) -> tuple[pd.Series, dict[int, Fault]]:
    """The values of a column and the faults by row.

    Parameters
    ----------
    raw : shape (n_rows,), raw cells
    column
        Its type, levels, and what an empty cell stands for.

    Returns
    -------
    values, shape (n_rows,)
        text: object, missing None; number: float64; integer: Int64; category: with the schema's levels.
    faults : row -> Fault
        There the value is missing.
    """
    # Most columns hold few different cells; each is read once. Type and cell together, for 1 == True == 1.0.
    numbers: dict[tuple[type, object], int] = {}
    which = np.array([numbers.setdefault((type(cell), cell), len(numbers)) for cell in raw], dtype=np.intp)
    distinct = [read_cell(cell, column) for _, cell in numbers]
    values = _cells([None if isinstance(value, Fault) else value for value in distinct])[which]
    faulty = np.array([isinstance(value, Fault) for value in distinct], dtype=bool)[which]
    return as_series(values, column), {int(row): distinct[which[row]] for row in np.flatnonzero(faulty)}


def as_series(values: np.ndarray, column: Column) -> pd.Series:
    """Read values with the dtype of their column."""
    match column.type:
        case "number":
            return pd.Series(values.astype(float))
        case "integer":
            return pd.Series(pd.array(values, dtype="Int64"))
        case "category":
            return pd.Series(pd.Categorical(values, categories=list(column.levels)))
        case _:
            return pd.Series(values, dtype=object)


def read_cell(cell: object, column: Column) -> Any:
    """The value of one cell, None where it is missing, or a `Fault`."""
    if isinstance(cell, Oddity) and cell.value in ODDITIES:
        return ODDITIES[cell.value]
    if is_blank(cell) or (isinstance(cell, float) and math.isnan(cell)):
        if column.when_empty:
            return column.when_empty
        missing = Fault("value_is_given", f"empty, but every row needs a value. {_fill_in(column)}")
        return missing if column.required else None
    match column.type:
        case "text":
            return _text(cell)
        case "category":
            return _level(cell, column)
        case "integer":
            return _whole(_number(cell, column), column)
        case _:
            return _number(cell, column)


def value_class(cell: object) -> str:
    """What stands in a cell: empty, text, number, integer, date, boolean, or what an `Oddity` is called."""
    if isinstance(cell, Oddity):
        return cell.value
    if isinstance(cell, bool):
        return "boolean"
    if isinstance(cell, DATES):
        return "date"
    if is_blank(cell) or cell != cell:
        return "empty"
    number = number_in(cell)
    if number is None:
        return "text"
    return "integer" if math.isfinite(number) and number.is_integer() else "number"


def number_in(cell: object) -> float | None:
    """The number that a cell holds or spells, with decimal point or comma; None for anything else."""
    if isinstance(cell, bool) or not isinstance(cell, str | int | float):
        return None
    if not isinstance(cell, str):
        # A whole number of a workbook may have more digits than floating point goes.
        return float(cell) if abs(cell) <= sys.float_info.max else math.inf
    text = cell.strip(BLANKS).replace("−", "-")
    return float(text.replace(",", ".")) if NUMBER.fullmatch(text) else None


def plain(number: float) -> str:
    """A number as people write it: 16, not 16.0."""
    number = float(number)
    return str(int(number)) if number.is_integer() and abs(number) <= LARGEST_EXACT else repr(number)


def _cells(values: list) -> np.ndarray:
    cells = np.empty(len(values), dtype=object)
    cells[:] = values
    return cells


def _text(cell: object) -> str | Fault:
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, int):
        return str(cell)  # every digit: a long number may be a key
    if isinstance(cell, float):
        return plain(cell)
    if isinstance(cell, str):
        # One spelling for letters with marks: two that look alike must be the same key.
        return unicodedata.normalize("NFC", cell.strip(BLANKS))
    kind = value_class(cell)
    advice = "Give the column the text format and enter it again." if kind == "date" else "Mend the cell."
    return Fault("value_is_a_text", f"{WHAT[kind]} where a text is due. {advice}")


def _level(cell: object, column: Column) -> str | Fault:
    levels = {level.casefold(): level for level in column.levels} | {level: level for level in column.levels}
    text = ("yes" if cell else "no") if isinstance(cell, bool) else _text(cell)
    if isinstance(text, Fault):
        kind = WHAT[value_class(cell)]
    elif found := levels.get(text, levels.get(text.casefold())):
        return found
    else:
        kind = "true or false" if isinstance(cell, bool) else "a text" if number_in(cell) is None else "a number"
    return Fault("value_is_a_level", f"{kind} that is none of {', '.join(column.levels)}. {_correct(column)}")


def _number(cell: object, column: Column) -> float | Fault:
    number = number_in(cell)
    if number is None:
        due = DUE[column.type]
        if not isinstance(cell, str):
            message = f"{WHAT[value_class(cell)]} where {due} is due. {_correct(column)}"
        elif MARKED_NUMBER.fullmatch(cell.strip(BLANKS)):
            message = f"no number that can be read: one decimal mark, none for thousands. {_correct(column)}"
        else:
            message = f"a text where {due} is due. {_correct(column)}"
        return Fault(f"value_is_{due.replace(' ', '_')}", message)
    if not math.isfinite(number):
        return Fault("value_is_finite", f"no finite number. {_correct(column)}")
    return number


def _whole(number: float | Fault, column: Column) -> int | Fault:
    if isinstance(number, Fault):
        return number
    if not number.is_integer() or abs(number) > LARGEST_EXACT:
        return Fault("value_is_a_whole_number", f"{plain(number)} is no whole number. {_correct(column)}")
    return int(number)


def _fill_in(column: Column) -> str:
    return "Enter unknown where it is not known." if "unknown" in column.levels else "Fill it in."


def _correct(column: Column) -> str:
    if "unknown" in column.levels:
        return "Correct the cell, or enter unknown."
    if column.required:
        return "Correct the cell; do not mark a missing value by a word or sign."
    return "Correct the cell, or leave it empty where there is no value."
