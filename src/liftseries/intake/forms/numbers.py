"""What forms do to the numbers of a column: parts, units, the lowest of several columns, the decimal mark.

Every function takes object arrays of raw cells, shape (n_rows,), and looks at each different cell once.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from liftseries.intake.cells.numbers import (
    NUMBER,
    UNCLEAR_MARK,
    in_plain_signs,
    number_in,
    unclear_thousands,
    value_class,
)
from liftseries.intake.cells.units import WITH_UNIT, factor_of
from liftseries.intake.files.grid import Refused, is_blank
from liftseries.intake.forms.cells import Counts, per_distinct, says_no_value
from liftseries.study.forms import HIGHEST, LOWEST
from liftseries.study.reading import Reading
from liftseries.study.schema import Column

PARTS = re.compile(
    r"\s*[Øø⌀∅]?\s*([0-9]+(?:[.,][0-9]+)?)\s*(?:mm)?\s*[/x×X*]\s*[LlØø]?\s*([0-9]+(?:[.,][0-9]+)?)\s*(?:mm)?\s*"
)
FIGURES = 12  # of a converted number, so that 0.57 cm are 5.7 mm and not 5.699999999999999


def one_of(pieces: Sequence[np.ndarray], take: str, column: Column, reading: Reading, counts: Counts) -> np.ndarray:
    """The lowest, highest or mean of several columns; where one has no value, what the others give."""
    gone = [says_no_value(piece, column, reading) for piece in pieces]
    read = [_numbers(np.where(empty, None, piece), column, reading) for piece, empty in zip(pieces, gone, strict=True)]
    refused = [cell for cells in read for cell in cells if isinstance(cell, Refused)]
    values = np.array(
        [[np.nan if cell is None or isinstance(cell, Refused) else cell for cell in cells] for cells in read],
        dtype=float,
    )
    filled = ~np.isnan(values)
    some = filled.any(axis=0)
    result = np.empty(values.shape[1], dtype=object)
    if take in (LOWEST, HIGHEST):
        pick = np.fmin.reduce(values) if take == LOWEST else np.fmax.reduce(values)
    else:
        pick = np.where(some, np.nansum(values, axis=0) / np.maximum(filled.sum(axis=0), 1), np.nan)
    result[some] = [_rounded(number) for number in pick[some]]
    for piece, empty in zip(pieces, gone, strict=True):  # where none has a value, the word that says so
        worded = empty & ~some & np.array([cell is not None for cell in piece], dtype=bool)
        result[worded] = piece[worded]
    if refused:
        for cells in read:
            for at in np.flatnonzero([isinstance(cell, Refused) for cell in cells]):
                result[at] = cells[at]
    counts.add("one_of_several_columns", f"numbers in {len(pieces)} columns", f"the {take}", filled.all(axis=0).sum())
    of_fewer = (some & ~filled.all(axis=0)).sum()
    counts.add("one_of_several_columns", "a number in one column, none in another", "that number", of_fewer)
    return result


def _numbers(cells: np.ndarray, column: Column, reading: Reading) -> np.ndarray:
    """Numbers, None where there is none, `Refused`; a unit in the cell may be the column's own."""
    return per_distinct(cells, _reader(cells, column, 1, reading, _no_number))[0]


def _no_number(cell: object) -> object:
    if is_blank(cell) or cell != cell:
        return None
    if isinstance(cell, Refused):
        return cell
    message = "no number, where one of several columns is to be taken. Correct the cell, or name it under `missing`."
    return Refused("value_is_a_number", message, value_class(cell), cell)


def _reader(
    cells: np.ndarray, column: Column, factor: float, reading: Reading, otherwise: Callable[[object], object]
) -> Callable[[object], object]:
    """What makes a number of a cell of a file's column, alone or with its unit, that makes `factor` of the column's.

    A mark before three digits is refused as in a column that stands as it is, unless study.yaml names the mark.
    """

    def number_of(cell: object) -> object:
        parts = WITH_UNIT.fullmatch(in_plain_signs(cell)) if isinstance(cell, str) else None
        return parts[1] if parts and factor_of(column, parts[2]) == factor else cell

    texts = [number_of(cell) for cell in pd.unique(cells)]
    unclear = set() if reading.forms.decimal else unclear_thousands(texts, column, factor)

    def take(cell: object) -> object:
        text = number_of(cell)
        if isinstance(text, str) and text in unclear:
            return Refused(UNCLEAR_MARK.rule, UNCLEAR_MARK.message, value_class(text), cell)
        number = number_in(text)
        return otherwise(cell) if number is None else number * factor

    return take


def _rounded(number: float) -> float | int:
    number = float(f"{number:.{FIGURES}g}")
    return int(number) if number.is_integer() and abs(number) < 2**53 else number


def part_of(cells: np.ndarray, part: int, column: Column, reading: Reading, counts: Counts) -> np.ndarray:
    """The first or second number of `4,2/8`, `4.2x8` or `Ø 4.2 x 8 mm`; anything else is refused."""
    message = "not two numbers with / or x between them. Correct the cell, or name it under `words` or `missing`."

    def take(cell: object) -> object:
        if is_blank(cell) or isinstance(cell, Refused):
            return cell
        parts = PARTS.fullmatch(in_plain_signs(cell)) if isinstance(cell, str) else None
        return parts[part] if parts else Refused("cell_has_two_parts", message, value_class(cell), cell)

    gone = says_no_value(cells, column, reading)
    taken, changed = per_distinct(np.where(gone, None, cells), take)
    taken = np.where(gone, cells, taken)  # a word for a missing value stays for the reader
    right = sum(not isinstance(cell, Refused) for cell in taken[changed])
    counts.add("part_of_a_cell", "two numbers in a cell", f"the {'first' if part == 1 else 'second'}", right)
    return taken


def in_unit(cells: np.ndarray, unit: str, column: Column, reading: Reading, counts: Counts) -> np.ndarray:
    """Numbers of the file's unit as those of the column's; a cell that names its own unit stays for the reader."""
    factor = factor_of(column, unit)
    if factor == 1:
        return cells
    number_of = _reader(cells, column, factor, reading, lambda cell: cell)

    def take(cell: object) -> object:
        number = number_of(cell)
        return _rounded(number) if isinstance(number, float) and np.isfinite(number) else number

    taken, changed = per_distinct(cells, take)
    right = sum(not isinstance(cell, Refused) for cell in taken[changed])
    counts.add("unit_of_the_file", f"a number in {unit}", f"the same in {column.unit}", right)
    return taken


def with_decimal_mark(cells: np.ndarray, mark: str) -> np.ndarray:
    """Texts of numbers whose mark study.yaml names; the other mark before three digits may be one for thousands."""
    other = "." if mark == "," else ","
    thousands = re.compile(rf"[+-]?[0-9]{{1,3}}\{other}[0-9]{{3}}(?:\s*[^\s0-9.,+-].*)?", re.DOTALL)
    kind = "point" if other == "." else "comma"
    message = f"a {kind} before three digits, in a file with the other decimal mark. Enter the number without it."

    def take(cell: object) -> object:
        if not isinstance(cell, str):
            return cell
        text = in_plain_signs(cell)
        if thousands.fullmatch(text):
            return Refused("decimal_mark_is_clear", message, "number", cell)
        if mark in text and NUMBER.fullmatch(text):
            return float(text.replace(",", "."))
        return cell

    return per_distinct(cells, take)[0]
