"""A table on its way: the files of one table stacked, which cells are sound so far, where each of them stood.

A cell with a finding is no longer sound and takes no part in later checks, so that no finding causes another.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from liftseries.intake.corrections.chains import State
from liftseries.intake.corrections.lines import Correction
from liftseries.intake.corrections.rows import Filed
from liftseries.intake.draft.row_finding import RowFinding
from liftseries.intake.files.headers import Header
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.told.decisions import Decision
from liftseries.intake.told.findings import Finding
from liftseries.intake.told.verdicts import Fault
from liftseries.study.plan_files import Source
from liftseries.study.schema import EVERY_TABLE, Table

NEVER_EMPTY = ("patients", "sites")


@dataclass
class Draft:
    """One table while it is checked; `frame` and all arrays run over the stacked rows of all its files."""

    table: Table
    sources: tuple[Source, ...]
    # By number of the file; one that gave no cells is not here.
    sheets: dict[int, Sheet] = field(default_factory=dict)
    headers: dict[int, Header] = field(default_factory=dict)
    frame: pd.DataFrame = field(default_factory=pd.DataFrame)
    raw: dict[str, np.ndarray] = field(default_factory=dict)
    sound: dict[str, np.ndarray] = field(default_factory=dict)
    file_no: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int))
    rows: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int))  # as a spreadsheet shows them
    repeated: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=bool))  # another row has the same key
    findings: list[Finding | RowFinding] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)
    faults: list[tuple[str, Fault]] = field(default_factory=list)  # by column: what cells came to on their own
    # By column: empty because there is nothing to record, not because nobody did.
    not_applicable: dict[str, np.ndarray] = field(default_factory=dict)
    as_filed: dict[int, Sheet] = field(default_factory=dict)  # `sheets` before corrections
    filed: Filed | None = None  # the same without hidden rows that are left out, and what each row is known by
    raw_files: dict[int, Sheet] = field(default_factory=dict)  # before forms of reading, too
    filed_at: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int))  # each row's number in `filed`
    corrected: dict[tuple[int, str], Correction] = field(default_factory=dict)  # by number in `filed`, and column
    followed: set[tuple[int, str]] = field(default_factory=set)  # those of them that went along with a key
    lines_out: dict[int, Correction] = field(default_factory=dict)  # by number in `filed`: left out by that line
    states: dict[int, State] = field(default_factory=dict)  # by number of the line of corrections.csv
    left_out: list[tuple[int, int, str]] = field(default_factory=list)  # file, row, what says so; not in `rows`

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def keys_are_readable(self) -> bool:
        """All files were read, with the key columns: other tables may be checked against them."""
        unreadable = set().union(*(header.unreadable for header in self.headers.values()))
        return len(self.sheets) == len(self.sources) and not unreadable & set(self.table.key)

    @property
    def lacks_rows(self) -> bool:
        """Without patients or sites there is no study; nothing drilled, stopped or seen is no fault."""
        return self.table.name in NEVER_EMPTY and len(self) == 0

    def known(self, *columns: str) -> np.ndarray:
        """Rows in which all these cells are sound and hold a value."""
        rows = np.ones(len(self), dtype=bool)
        for column in columns:
            rows &= self.sound[column] & self.frame[column].notna().to_numpy()
        return rows

    def masked(self) -> pd.DataFrame:
        """The table with every unsound cell missing."""
        unsound = [name for name in self.frame if not self.sound[name].all()]
        return self.frame.assign(**{name: self.frame[name].where(self.sound[name]) for name in unsound})

    def keys(self) -> np.ndarray:
        """Rows whose key can be read, also where another row has the same one."""
        return self.known(*self.table.key) | self.repeated

    def lacks(self, column: str, index: int) -> bool:
        """Whether the row's file has no such column."""
        return column not in self.headers[self.file_no[index]].positions

    def row_seen_from(self, other: int, index: int) -> str:
        """`row 12`, with its file where that is another one than the reader is in."""
        if self.file_no[other] == self.file_no[index]:
            return f"row {self.rows[other]}"
        return self.row_place(other)

    def row_place(self, index: int) -> str:
        return self.sheets[self.file_no[index]].row_place(self.rows[index])

    def places(self) -> pd.DataFrame:
        """`file`, as study.yaml names it, and `row` of each row, as a spreadsheet shows it."""
        labels = np.array([source.label for source in self.sources] or [""], dtype=object)
        return pd.DataFrame({"file": labels[self.file_no], "row": self.rows})

    def cell_place(self, index: int, column: str) -> str:
        """`cases.xlsx, sheet sites, cell C7`."""
        file_no = int(self.file_no[index])
        return self._place(
            file_no, int(self.rows[index]), column, self.headers[file_no].positions.get(column), int(index)
        )

    def finding(self, rule: str, index: int, column: str, message: str, partner: int | None = None) -> RowFinding:
        """A finding on a cell, or on a whole row where `column` is empty."""
        return RowFinding(self, rule, index, column, message, partner)

    def find(
        self,
        rule: str,
        index: int,
        column: str,
        message: str,
        partner: int | None = None,
        reads: tuple[str, ...] = (),
    ) -> None:
        """Records a finding; its cell, and those that the check read, are unsound from here on."""
        self.findings.append(self.finding(rule, index, column, message, partner))
        for name in (column, *reads) if column else self.sound:
            self.sound[name][index] = False

    def decide(self, index: int, column: str, stood: str, taken_for: str, rule: str) -> None:
        """Records how a cell was taken that is not simply what it shows."""
        file_no, row = int(self.file_no[index]), int(self.rows[index])
        position = self.headers[file_no].positions.get(column)
        self.decisions.append(
            Decision(
                table=self.table.name,
                file=self.sources[file_no].told,
                row=row,
                column=column,
                place=self._place(file_no, row, column, position, index),
                stood=stood,
                taken_for=taken_for,
                rule=rule,
            )
        )

    def find_in_file(
        self,
        rule: str,
        file_no: int,
        place: str,
        message: str,
        column: str = "",
        position: int = -1,
        value_class: str = "",
    ) -> None:
        """Records a finding that is no row's fault."""
        sheet = self.sheets.get(file_no)
        row = 0 if sheet is None else sheet.header_row
        self.findings.append(
            Finding(
                table=self.table.name,
                file=self.sources[file_no].told,
                row=None,
                column=column,
                value_class=value_class or ("empty" if column else "text"),
                rule=rule,
                message=message,
                place=place,
                order=self._order(file_no, row, position),
            )
        )

    def _place(self, file_no: int, row: int, column: str, position: int | None, index: int) -> str:
        if not column:
            return self.sheets[file_no].row_place(row)
        line = self.corrected.get((int(self.filed_at[index]), column))
        at = int(index - np.searchsorted(self.file_no, file_no))
        return self.sheets[file_no].place(row, column, position, at) + (
            f" as corrected in {line.place}" if line else ""
        )

    def _order(self, file_no: int, row: int, position: int) -> tuple[int, ...]:
        return (EVERY_TABLE.index(self.table.name), int(file_no), row, position)
