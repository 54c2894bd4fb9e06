"""A file's column to values: each different cell read once, a column judged as a whole where cells alone can't be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from pandas.api.types import infer_dtype

from liftseries.intake.cells.cells import AS_FDI, plain_text, read_cell
from liftseries.intake.cells.numbers import (
    UNCLEAR_MARK,
    unclear_thousands,
)
from liftseries.intake.cells.teeth import judged
from liftseries.intake.told.verdicts import Fault, Taken
from liftseries.study.reading import Reading
from liftseries.study.schema import Column

OF_ONE_TYPE = ("string", "integer", "floating")  # as pandas tells of objects of one Python type


@dataclass(frozen=True)
class ColumnRead:
    """What the cells of one file's column came to.

    Attributes
    ----------
    values : shape (n_rows,)
        text: object, missing None; number: float64; integer: Int64; category: with the schema's levels.
    faults, taken : by row
        Where there is a fault the value is missing.
    of_all : a fault of the column as a whole, which leaves every value missing
    """

    values: pd.Series
    faults: dict[int, Fault]
    taken: dict[int, Taken]
    of_all: Fault | None = None


def read_column(raw: np.ndarray, column: Column, reading: Reading = AS_FDI) -> ColumnRead:
    """The values of one file's column.

    Parameters
    ----------
    raw : shape (n_rows,), raw cells
    column
        Its type, levels, and what an empty cell stands for.
    reading
        What study.yaml confirms of words and teeth.
    """
    # Most columns hold few different cells; each is read once.
    cells, which = different(raw)
    # What is judged of all cells hangs on which of them there are; how many there are is only told.
    if column.notation and reading.tooth_numbering == "fdi" and judged(cells) and (fault := judged(raw)):
        return ColumnRead(pd.Series(_typed(np.full(len(raw), None, dtype=object), column)), {}, {}, fault)
    plain = plain_text(cells, column, reading)
    if plain and all(plain):
        return ColumnRead(pd.Series(raw, dtype=object, copy=True), {}, {})
    unclear = _unclear({(type(cell), cell): at for at, cell in enumerate(cells)}, column)
    distinct = [
        unclear.get((type(cell), cell)) or (cell if is_plain else read_cell(cell, column, reading))
        for cell, is_plain in zip(cells, plain, strict=True)
    ]
    values = _typed(_cells([value_of(verdict) for verdict in distinct]), column)
    faulty, taken = (_by_row(kind, distinct, which) for kind in (Fault, Taken))
    return ColumnRead(pd.Series(values.take(which)), faulty, taken)


def different(raw: np.ndarray) -> tuple[list[object], np.ndarray]:
    """The different cells of a column, and which of them stands in a row; 1, 1.0 and true are three.

    Parameters
    ----------
    raw : shape (n_rows,), raw cells
    """
    known = np.not_equal(raw, None).astype(bool)
    if infer_dtype(raw[known], skipna=False) in OF_ONE_TYPE:
        codes, cells = pd.factorize(raw[known])
        which = np.full(len(raw), len(cells), dtype=np.intp)
        which[known] = codes
        return [*cells, *([] if known.all() else [None])], which
    numbers: dict[tuple[type, object], int] = {}
    which = np.array([numbers.setdefault((type(cell), cell), len(numbers)) for cell in raw], dtype=np.intp)
    return [cell for _, cell in numbers], which


def _unclear(numbers: dict[tuple[type, object], int], column: Column) -> dict[tuple[type, object], Fault]:
    if column.type not in ("number", "integer"):
        return {}
    return {(str, cell): UNCLEAR_MARK for cell in unclear_thousands((cell for _, cell in numbers), column)}


def _by_row(kind: type, distinct: list, which: np.ndarray) -> dict[int, Any]:
    chosen = np.array([isinstance(verdict, kind) for verdict in distinct], dtype=bool)
    return {int(row): distinct[which[row]] for row in np.flatnonzero(chosen[which])}


def _typed(values: np.ndarray, column: Column) -> np.ndarray | pd.api.extensions.ExtensionArray:
    """Read values with the dtype of their column."""
    match column.type:
        case "number":
            return values.astype(float)
        case "integer":
            return pd.array(values, dtype="Int64")
        case "category":
            return pd.Categorical(values, categories=list(column.levels))
        case _:
            return values


def value_of(verdict: Any) -> Any:
    """The value behind what `read_cell` gives; None where it is missing or a `Fault`."""
    if isinstance(verdict, Taken):
        return verdict.value
    return None if isinstance(verdict, Fault) else verdict


def _cells(values: list) -> np.ndarray:
    cells = np.empty(len(values), dtype=object)
    cells[:] = values
    return cells
