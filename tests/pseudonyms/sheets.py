"""Sheets made of columns, as if they had been read from a CSV file."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from liftseries.intake.files.sheet import Sheet
from liftseries.study.plan_files import Source


def sheet_of(columns: dict[str, list[object]]) -> Sheet:
    arrays = []
    for cells in columns.values():
        arrays.append(np.empty(len(cells), dtype=object))
        arrays[-1][:] = cells
    rows = np.arange(2, 2 + len(arrays[0]))
    return Sheet(Source("the file", Path("the file"), None), "the file", False, list(columns), 1, arrays, rows, {})
