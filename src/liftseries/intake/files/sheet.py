"""The sheet: one file of a table as raw cells, with the place of every cell.

No cell is interpreted here. A row keeps the number that a spreadsheet shows, so the first row below the header is
row 2. What a file shows otherwise than it holds is settled by a rule and told as a decision, or refused.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from liftseries.intake.files.grid import SheetFault, letters
from liftseries.intake.told.decisions import Decision
from liftseries.study.plan_files import Source


@dataclass(frozen=True)
class Sheet:
    """One file of a table (in a workbook: one sheet of it) as raw cells."""

    source: Source
    shown: str  # `cases.xlsx, sheet sites`: what a place begins with
    is_workbook: bool
    header: list[object]
    header_row: int
    columns: list[np.ndarray]  # one object array a header cell, shape (n_rows,)
    rows: np.ndarray  # shape (n_rows,), numbers as a spreadsheet shows them
    ragged: dict[int, int]  # position among `rows` -> cells in the row: more than the header has, or in CSV fewer
    decisions: list[Decision] = field(default_factory=list)
    faults: list[SheetFault] = field(default_factory=list)
    left_out: tuple[int, ...] = ()  # those of `rows` that are hidden and that study.yaml leaves out
    beside: dict[int, list[object]] = field(default_factory=dict)  # row -> its cells: titles, units, no data
    # Of a sheet that forms made of another one: where its columns stand in the file, by position.
    origins: dict[int, np.ndarray | int | None] = field(default_factory=dict)  # one number, or one a row
    read_by: str = ""  # what says so
    # Which columns of the file this table answers for -> the table's column made of it; empty: nobody's, or ignored.
    named: dict[int, str] | None = None
    not_collected: tuple[str, ...] = ()  # columns that study.yaml says nobody recorded
    filled: Mapping[str, np.ndarray] = field(default_factory=dict)  # column -> rows whose cell was empty: `empty_means`

    def row_place(self, row: int) -> str:
        return f"{self.shown}, row {row}"

    def place(self, row: int, column: str, position: int | None, at: int | None = None) -> str:
        """Where a cell stands; `position` is its column's number from 0, None where the file has none.

        `at` is the row's position among `rows`, which tells apart rows that were made of one row of the file.
        """
        stands = self._in_file(position, at)
        if self.is_workbook and stands is not None:
            return f"{self.shown}, cell {letters(stands)}{row}, {column}"
        if self.origins and stands is not None:
            return f"{self.row_place(row)}, column {stands + 1} ({letters(stands)}), {column}"
        return f"{self.row_place(row)}, {column}"

    def header_place(self, position: int) -> str:
        stands = self._in_file(position, None)
        if stands is None:
            return self.row_place(self.header_row)
        if self.is_workbook:
            return f"{self.shown}, cell {letters(stands)}{self.header_row}"
        return f"{self.row_place(self.header_row)}, column {stands + 1} ({letters(stands)})"

    def _in_file(self, position: int | None, at: int | None) -> int | None:
        """A column's number in the file."""
        if position is None or position not in self.origins:
            return None if self.origins else position
        origin = self.origins[position]
        if not isinstance(origin, np.ndarray):
            return origin
        return None if at is None or origin[at] < 0 else int(origin[at])

    def without(self, rows: Collection[int]) -> Sheet:
        """The sheet without some of its rows."""
        if not rows:
            return self
        return self.of_positions(np.flatnonzero(~np.isin(self.rows, list(rows))))

    def of_positions(self, kept: np.ndarray) -> Sheet:
        """The sheet with the rows alone that stand at these positions among `rows`."""
        now_at = {int(at): number for number, at in enumerate(kept)}
        return replace(
            self,
            columns=[column[kept] for column in self.columns],
            rows=self.rows[kept],
            origins={
                position: origin[kept] if isinstance(origin, np.ndarray) else origin
                for position, origin in self.origins.items()
            },
            ragged={now_at[at]: length for at, length in self.ragged.items() if at in now_at},
            filled={name: rows[kept] for name, rows in self.filled.items()},
        )
