"""corrections.csv read and written: the audit trail of what was corrected, by whom, when and why.

The centres' files stay as they were sent. A line names a row by its key, a column, what stood there and what stands
there instead. Nothing is deleted: a later line for the same cell takes the place of an earlier one, and a line without
a column and with the value `withdraw` takes the line back that it supersedes. `leave out`, without a column, takes a
row out; `leave out copies` keeps the first of rows that are the same in every cell.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from liftseries.base.outputs import written_whole
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.corrections.fingerprint import as_text, raw_row
from liftseries.intake.files.grid import Unreadable
from liftseries.intake.files.read_sheet import read_sheet
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.identifiers.kinds import Role
from liftseries.intake.told.findings import Finding
from liftseries.study.plan import Plan
from liftseries.study.plan_files import CORRECTIONS_FILE, Source
from liftseries.study.schema import AUDIT_TABLES, EVERY_TABLE

COLUMNS = ("line", "table", "key", "column", "stood", "stood_hash", "value", "reason", "person", "date", "supersedes")
BY_ROW_COLUMNS = ["table", "file", "row", "column", "old_sha256", "value"]  # before lines had keys
LEAVE_OUT, LEAVE_OUT_COPIES, WITHDRAW = "leave out", "leave out copies", "withdraw"
WHOLE_ROW = (LEAVE_OUT, LEAVE_OUT_COPIES, WITHDRAW)
FITS = "correction_fits_its_row"
DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


@dataclass(frozen=True)
class Correction:
    """One line of corrections.csv."""

    line: int  # its number, which no sorting changes
    table: str
    key: str  # of the row before corrections; the keyed hash of a row without one
    column: str  # of the schema; empty where the whole row is meant
    stood: str  # the class of what stood there, or `several` where the rows of one key differ
    stood_hash: str  # keyed hash of what stood there; empty where a person wrote the line
    value: str  # as it would stand in a CSV; empty clears the cell
    reason: str
    person: str  # a pseudonym
    date: str  # of the correction, ISO 8601
    supersedes: int | None = None  # the line whose place it takes
    row: int = 0  # where the line stands in corrections.csv; 0 where it is not written yet

    @property
    def place(self) -> str:
        return f"{CORRECTIONS_FILE}, row {self.row}"

    @property
    def leaves_out(self) -> bool:
        return not self.column and self.value != WITHDRAW

    @property
    def withdraws(self) -> bool:
        return not self.column and self.value == WITHDRAW


@dataclass
class Corrections:
    """All lines that can be read, by number, and what is wrong with the others."""

    lines: list[Correction] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    secret: bytes | None = None  # the study's key

    @property
    def last(self) -> int:
        """The highest number of a line; 0 without any."""
        return max((line.line for line in self.lines), default=0)

    def until(self, number: int) -> Corrections:
        """As they were when that line was the last."""
        return Corrections([line for line in self.lines if line.line <= number], [], self.secret)


# ── reading ─────────────────────────────────────────────────────────────────────────────────────


def read_corrections(plan: Plan) -> Corrections:
    """The study's corrections.csv, nothing where it has none. What is wrong with it comes as findings."""
    from liftseries.intake.corrections.secret import read_key

    corrections = Corrections(secret=read_key(plan.folder))
    try:
        sheet = sheet_of_lines(plan)
    except Unreadable as error:
        corrections.findings.append(finding_of_line(0, error.message, place=error.place, rule=error.rule))
        return corrections
    if sheet is None:
        return corrections
    names = column_names(sheet)
    if names != list(COLUMNS):
        message = f"the columns must be {', '.join(COLUMNS)}, in this order. Mend the header, or take the file away."
        if names == BY_ROW_COLUMNS:
            message = "its lines name rows by number. `liftseries check` gives them the rows' keys, once."
        corrections.findings.append(finding_of_line(sheet.header_row, message))
        return corrections
    for at, row in enumerate(sheet.rows):
        cells = dict(zip(names, (as_text(cell) for cell in raw_row(sheet, at)), strict=True))
        if cells["table"] in AUDIT_TABLES and "audit" not in plan.purpose:
            continue  # its table is not read
        message = RAGGED if at in sheet.ragged else _wrong_line(cells, plan) or _points_to_person(plan, cells)
        if message:
            corrections.findings.append(finding_of_line(int(row), message, cells["table"]))
            continue
        numbers = {name: int(number_in(cells[name])) for name in ("line", "supersedes") if cells[name]}
        corrections.lines.append(Correction(**{**cells, "supersedes": None, **numbers}, row=int(row)))
    corrections.lines.sort(key=lambda line: line.line)
    _drop_wrong_chains(corrections)
    return corrections


RAGGED = "more or fewer cells than columns. Put quotes around a cell that holds the separator."


def sheet_of_lines(plan: Plan) -> Sheet | None:
    """The file's cells; None where there is none."""
    path = plan.folder / CORRECTIONS_FILE
    return read_sheet(Source(CORRECTIONS_FILE, path, None), "corrections") if path.is_file() else None


def column_names(sheet: Sheet) -> list[str]:
    return [as_text(cell).lower() for cell in sheet.header]


def _wrong_line(cells: dict[str, str], plan: Plan) -> str:
    if cells["table"] not in plan.tables:
        return "names a table that study.yaml does not. Correct the line."
    if not _is_number(cells["line"]):
        return "its number is no whole number above 0. Give it the next one that is free."
    if cells["supersedes"] and not _is_number(cells["supersedes"]):
        return "supersedes no whole number above 0. Write the number of a line, or clear the cell."
    if not cells["key"]:
        return "names no row. Write the row's key."
    if not cells["column"] and cells["value"] not in WHOLE_ROW:
        return f"names no column, but its value is none of {', '.join(WHOLE_ROW)}. Correct the line."
    if not cells["column"] and cells["value"] == WITHDRAW and not cells["supersedes"]:
        return "withdraws, but does not say under `supersedes` which line. Write its number."
    if cells["column"] and cells["column"] not in plan.every_schema[cells["table"]].columns:
        return "names a column that the table does not have. Correct the line."
    if not cells["person"] or not cells["reason"]:
        return "has no person or no reason. Enter a pseudonym and why the cell was corrected."
    if not DAY.fullmatch(cells["date"]):
        return "its date is no day such as 2025-06-30. Correct it."
    return ""


def _is_number(text: str) -> bool:
    number = number_in(text)
    return number is not None and number.is_integer() and 1 <= number < 1e9


def _points_to_person(plan: Plan, cells: dict[str, str]) -> str:
    by_cell = identifying(plan, cells["table"], cells["column"], cells["value"])
    return by_cell or identifying_words(cells["person"], Role.KEY) or identifying_words(cells["reason"])


def identifying(plan: Plan, table: str, column: str, value: str) -> str:
    """Why a value may not be taken: it looks as if it pointed to a person, and the user has not cleared the column."""
    from liftseries.intake.identifiers.screen import role_of

    if not column or column in plan.reading.cleared.get(table, ()):
        return ""
    return identifying_words(value, role_of(plan.every_schema[table], column))


@cache
def identifying_words(text: str, role: Role = Role.LABEL) -> str:
    """Why these words may not be taken down; empty where they point to nobody."""
    from liftseries.intake.identifiers.screen import screen_column

    for kind in screen_column(np.array([text], dtype=object), role):
        return f"what looks like {kind.words}. Enter a pseudonym, or a label that points to nobody."
    return ""


def _drop_wrong_chains(corrections: Corrections) -> None:
    """A number stands once, and a line supersedes an earlier one of its table."""
    by_number: dict[int, Correction] = {}
    for line in list(corrections.lines):
        message, earlier = "", by_number.get(line.supersedes or 0)
        if line.line in by_number:
            message = f"its number stands in row {by_number[line.line].row} too. Give it the next one that is free."
        elif line.supersedes and (earlier is None or earlier.table != line.table):
            message = "supersedes a line that is not there, comes later or is of another table. Correct the number."
        if message:
            corrections.lines.remove(line)
            corrections.findings.append(finding_of_line(line.row, message, line.table))
        else:
            by_number[line.line] = line


def finding_of_line(line: int, message: str, table: str = "", place: str = "", rule: str = FITS) -> Finding:
    """A finding on corrections.csv, `line` its row there."""
    return Finding(
        table=table if table in EVERY_TABLE else "",
        file=CORRECTIONS_FILE,
        row=None,
        column="",
        value_class="text",
        rule=rule,
        message=message,
        place=place or f"{CORRECTIONS_FILE}, row {line}",
        order=(len(EVERY_TABLE), 0, line, 0),
    )


# ── writing ─────────────────────────────────────────────────────────────────────────────────────


def append_corrections(plan: Plan, lines: Sequence[Correction]) -> Path:
    """Writes the lines below those that are there; what stood there stays byte for byte."""
    path = plan.folder / CORRECTIONS_FILE
    before = path.read_bytes() if path.is_file() else b""
    if not lines:
        return path
    with written_whole(path) as temporary, temporary.open("wb") as file:
        file.write(before)
        if before and not before.endswith((b"\n", b"\r")):
            file.write(b"\n")
        file.write(as_csv(lines, _separator(before), with_header=not before).encode("utf-8"))
    return path


def _separator(before: bytes) -> str:
    """A spreadsheet program may have saved the file with semicolons; it stays as it is."""
    return ";" if b";" in before.split(b"\n", 1)[0] else ","


def as_csv(lines: Sequence[Correction], separator: str = ",", with_header: bool = True) -> str:
    """The lines as corrections.csv holds them."""
    text = io.StringIO()
    writer = csv.writer(text, delimiter=separator, lineterminator="\n")
    if with_header:
        writer.writerow(COLUMNS)
    writer.writerows([getattr(line, name) for name in COLUMNS] for line in lines)
    return text.getvalue()
