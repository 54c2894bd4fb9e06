"""A table on its way: the files of one table stacked, which cells are sound so far, where each of them stood.

A cell with a finding is no longer sound and takes no part in later checks, so that no finding causes another.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from liftseries.base.numbers import plain
from liftseries.intake.cells.cells import ColumnRead, number_in, read_column, value_class
from liftseries.intake.corrections.lines import Correction, Corrections, corrected
from liftseries.intake.files.grid import Unreadable
from liftseries.intake.files.headers import Header, match_header
from liftseries.intake.files.sources import Sheet, read_sheet
from liftseries.intake.told.decisions import Decision
from liftseries.intake.told.findings import Finding
from liftseries.intake.told.verdicts import Fault
from liftseries.study.plan_files import PLAN_FILE, Source
from liftseries.study.reading import Reading
from liftseries.study.schema import TABLES, Column, Table

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
    findings: list[Finding] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)
    faults: list[tuple[str, Fault]] = field(default_factory=list)  # by column: what cells came to on their own
    # By column: empty because there is nothing to record, not because nobody did.
    not_applicable: dict[str, np.ndarray] = field(default_factory=dict)
    as_filed: dict[int, Sheet] = field(default_factory=dict)  # `sheets` before corrections
    corrected: dict[tuple[int, int, str], Correction] = field(default_factory=dict)  # by file, row and column
    left_out: dict[tuple[int, int], str] = field(default_factory=dict)  # by file and row: what says so; not in `rows`

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

    def finding(self, rule: str, index: int, column: str, message: str, partner: int | None = None) -> Finding:
        """A finding on a cell, or on a whole row where `column` is empty."""
        sheet, row = self.sheets[self.file_no[index]], int(self.rows[index])
        position = self.headers[self.file_no[index]].positions.get(column)
        in_row = len(sheet.header) if column and position is None else -1 if position is None else position
        return Finding(
            table=self.table.name,
            file=sheet.source.label,
            row=row,
            column=column,
            value_class=value_class(self.raw[column][index]) if column else "text",
            rule=rule,
            message=message,
            place=self._place(int(self.file_no[index]), row, column, position),
            order=self._order(self.file_no[index], row, in_row),
            index=int(index),
            partner=None if partner is None else int(partner),
        )

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
                file=self.sources[file_no].label,
                row=row,
                column=column,
                place=self._place(file_no, row, column, position),
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
                file=self.sources[file_no].label,
                row=None,
                column=column,
                value_class=value_class or ("empty" if column else "text"),
                rule=rule,
                message=message,
                place=place,
                order=self._order(file_no, row, position),
            )
        )

    def _place(self, file_no: int, row: int, column: str, position: int | None) -> str:
        if not column:
            return self.sheets[file_no].row_place(row)
        line = self.corrected.get((file_no, row, column))
        return self.sheets[file_no].place(row, column, position) + (f" as corrected in {line.place}" if line else "")

    def _order(self, file_no: int, row: int, position: int) -> tuple[int, ...]:
        return (TABLES.index(self.table.name), int(file_no), row, position)


def draft_table(
    table: Table,
    sources: tuple[Source, ...],
    corrections: Corrections | None = None,
    reading: Reading | None = None,
) -> Draft:
    """Reads and types all files of a table; nothing is checked beyond a cell on its own."""
    draft, reading = Draft(table, sources), reading or Reading()
    for file_no, source in enumerate(sources):
        try:
            sheet = read_sheet(source, table.name, table.columns, reading.hidden)
        except Unreadable as error:
            draft.find_in_file(error.rule, file_no, error.place, error.message)
            continue
        draft.sheets[file_no] = sheet
        draft.headers[file_no] = match_header(sheet, table)
        draft.as_filed[file_no] = sheet
        draft.decisions += sheet.decisions
        _leave_out_hidden(draft, file_no)
        _correct(draft, file_no, corrections or Corrections())
        for fault in draft.headers[file_no].faults:
            draft.find_in_file(fault.rule, file_no, fault.place, fault.message, fault.column, fault.position)
        for fault in sheet.faults:
            draft.find_in_file(fault.rule, file_no, fault.place, fault.message)
    _stack(draft, reading)
    return draft


def _leave_out_hidden(draft: Draft, file_no: int) -> None:
    rows = draft.sheets[file_no].left_out
    draft.sheets[file_no] = draft.sheets[file_no].without(rows)
    draft.left_out |= {(file_no, row): f"{PLAN_FILE}, reading, hidden" for row in rows}


def _correct(draft: Draft, file_no: int, corrections: Corrections) -> None:
    lines = corrections.of_file(draft.table.name, draft.sources[file_no].label)
    result = corrected(draft.sheets[file_no], draft.headers[file_no], draft.table.name, lines)
    draft.sheets[file_no] = result.sheet
    draft.corrected |= {(file_no, row, column): line for (row, column), line in result.cells.items()}
    draft.left_out |= {(file_no, row): line.place for row, line in result.left_out.items()}
    draft.findings += result.findings
    draft.decisions += result.decisions


def _stack(draft: Draft, reading: Reading) -> None:
    sheets = draft.sheets
    draft.file_no = _joined([np.full(len(sheet.rows), file_no) for file_no, sheet in sheets.items()], int)
    draft.rows = _joined([sheet.rows for sheet in sheets.values()], int)
    draft.repeated = np.zeros(len(draft), dtype=bool)
    starts = dict(zip(sheets, np.cumsum([0, *(len(sheet.rows) for sheet in sheets.values())]), strict=False))
    columns, read = {}, []
    for name, column in draft.table.columns.items():
        pieces = {file_no: _piece(draft, file_no, name) for file_no in sheets}
        draft.raw[name] = _joined(list(pieces.values()), object)
        readable = [np.full(len(raw), name not in draft.headers[at].unreadable) for at, raw in pieces.items()]
        draft.sound[name] = _joined(readable, bool)
        draft.not_applicable[name] = np.zeros(len(draft), dtype=bool)
        found = {file_no: read_column(raw, column, reading) for file_no, raw in pieces.items()}
        read += [(file_no, column, in_file) for file_no, in_file in found.items()]
        series = [in_file.values for in_file in found.values()]
        columns[name] = pd.concat(series or [read_column(draft.raw[name], column).values], ignore_index=True)
    draft.frame = pd.DataFrame(columns)
    for file_no, sheet in sheets.items():
        for at, length in sheet.ragged.items():
            names = f"{len(sheet.header)} column names"
            advice = "Put quotes around a cell that holds the separator."
            if length < len(sheet.header):
                advice = "Add the missing separators, so that each cell stands under its name."
            message = f"{length} cell{'s' if length > 1 else ''} under {names}. {advice}"
            draft.find("row_fits_the_header", starts[file_no] + at, "", message)
    for file_no, column, in_file in read:
        _tell(draft, file_no, int(starts[file_no]), column, in_file)


def _piece(draft: Draft, file_no: int, name: str) -> np.ndarray:
    """The raw cells of one file's column; empty ones where it has none that can be read."""
    sheet, header = draft.sheets[file_no], draft.headers[file_no]
    if header.can_be_read(name):
        return sheet.columns[header.positions[name]]
    return np.full(len(sheet.rows), None, dtype=object)


def _tell(draft: Draft, file_no: int, start: int, column: Column, read: ColumnRead) -> None:
    """Turns what the cells of one file's column came to into findings and decisions; `start` is its first row."""
    name, sheet = column.name, draft.sheets[file_no]
    if read.of_all:
        position = draft.headers[file_no].positions[name]
        place = f"{sheet.header_place(position)}, {name}"
        draft.find_in_file(read.of_all.rule, file_no, place, read.of_all.message, name, position, "integer")
        draft.sound[name][start : start + len(sheet.rows)] = False
        return
    for row, fault in read.faults.items():
        if draft.sound[name][start + row]:
            draft.faults.append((name, fault))
            draft.find(fault.rule, start + row, name, fault.message)
    for row, taken in read.taken.items():
        if draft.sound[name][start + row]:
            draft.decide(start + row, name, taken.stood, taken.taken_for, taken.rule)
            draft.not_applicable[name][start + row] = taken.not_applicable
    if column.type in ("number", "integer") and not _holds_texts_only(sheet):
        _tell_stored_as_text(draft, start, name, read)


def _holds_texts_only(sheet: Sheet) -> bool:
    return sheet.source.path.suffix.lower() in (".csv", ".txt")


def _tell_stored_as_text(draft: Draft, start: int, name: str, read: ColumnRead) -> None:
    """In a file whose cells have types, a number under the text format is not simply what it shows."""
    for row in range(len(read.values)):
        cell, index = draft.raw[name][start + row], start + row
        if isinstance(cell, str) and draft.sound[name][index] and row not in read.taken:
            number = number_in(cell)
            if number is not None:
                draft.decide(index, name, "a number stored as a text", plain(number), "number_is_read_from_text")


def _joined(pieces: list[np.ndarray], dtype: Callable) -> np.ndarray:
    return np.concatenate([np.zeros(0, dtype=dtype), *pieces]) if pieces else np.zeros(0, dtype=dtype)
