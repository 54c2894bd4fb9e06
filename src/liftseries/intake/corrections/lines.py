"""corrections.csv read and written: what the user corrected, put over the raw cells at every reading.

The centres' files stay as they were sent. Each line names a cell, the SHA-256 of its row as the file has it,
and the value that stands there instead; of two lines for one cell the later one holds. A line without a
column and with the value `leave out` takes its row out. A row that has changed since is not corrected: that
is a fault, for the line may no longer be meant for it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from liftseries.base.outputs import written_whole
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.corrections.fingerprint import as_text, raw_row
from liftseries.intake.files.grid import Unreadable
from liftseries.intake.files.headers import Header
from liftseries.intake.files.sheet import read_sheet
from liftseries.intake.told.findings import Finding
from liftseries.study.plan import Plan
from liftseries.study.plan_files import CORRECTIONS_FILE, Source
from liftseries.study.schema import AUDIT_TABLES, EVERY_TABLE

COLUMNS = ("table", "file", "row", "column", "old_sha256", "value")
LEAVE_OUT = "leave out"
FITS = "correction_fits_its_row"


@dataclass(frozen=True)
class Correction:
    """One line of corrections.csv."""

    table: str
    file: str  # as study.yaml names it
    row: int  # as a spreadsheet shows it
    column: str  # of the schema; empty where the whole row is left out
    old_sha256: str  # of the row as the file has it, see `fingerprint`
    value: str  # as it would stand in a CSV; empty clears the cell
    line: int = 0  # its own row in corrections.csv; 0 where it is not written yet

    @property
    def place(self) -> str:
        return f"{CORRECTIONS_FILE}, row {self.line}"

    @property
    def leaves_out(self) -> bool:
        return not self.column


@dataclass
class Corrections:
    """All lines that can be read, in order, and what is wrong with the others."""

    lines: list[Correction] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def fitting(self, table: str, file: str, row: float | None, header: Header, whole: str) -> list[Correction]:
        """The lines for a row that still fit it, in order; see `corrected`."""
        lines = self.of_file(table, file).get(row, [])
        return [
            line for line in lines if line.old_sha256 == whole and (line.leaves_out or header.can_be_read(line.column))
        ]

    def of_file(self, table: str, file: str) -> dict[int, list[Correction]]:
        """By row of that file, in order."""
        by_row: dict[int, list[Correction]] = {}
        for line in self.lines:
            if (line.table, line.file) == (table, file):
                by_row.setdefault(line.row, []).append(line)
        return by_row


# ── reading ─────────────────────────────────────────────────────────────────────────────────────


def read_corrections(plan: Plan) -> Corrections:
    """The study's corrections.csv, nothing where it has none. What is wrong with it comes as findings."""
    path = plan.folder / CORRECTIONS_FILE
    corrections = Corrections()
    if not path.is_file():
        return corrections
    try:
        sheet = read_sheet(Source(CORRECTIONS_FILE, path, None), "corrections")
    except Unreadable as error:
        corrections.findings.append(finding_of_line(0, error.message, place=error.place, rule=error.rule))
        return corrections
    names = [as_text(cell).lower() for cell in sheet.header]
    if names != list(COLUMNS):
        message = f"the columns must be {', '.join(COLUMNS)}, in this order. Mend the header, or take the file away."
        corrections.findings.append(finding_of_line(sheet.header_row, message))
        return corrections
    for at, row in enumerate(sheet.rows):
        cells = dict(zip(names, (as_text(cell) for cell in raw_row(sheet, at)), strict=True))
        if cells["table"] in AUDIT_TABLES and "audit" not in plan.purpose:
            continue  # its table is not read
        if at in sheet.ragged:
            message = "more or fewer cells than columns. Put quotes around a cell that holds the separator."
        else:
            message = _wrong_address(cells, plan) or identifying(plan, cells["table"], cells["column"], cells["value"])
        if message:
            corrections.findings.append(finding_of_line(int(row), message, cells["table"]))
        else:
            number = int(number_in(cells.pop("row")))
            corrections.lines.append(Correction(**cells, row=number, line=int(row)))
    return corrections


def _wrong_address(cells: dict[str, str], plan: Plan) -> str:
    number = number_in(cells["row"])
    if cells["table"] not in plan.tables or cells["file"] not in {
        source.label for source in plan.tables[cells["table"]]
    }:
        return "names a table and file that study.yaml does not. Correct or delete the line."
    if number is None or not number.is_integer() or number < 1:
        return "the row is no whole number above 0. Correct or delete the line."
    if not cells["column"] and cells["value"] != LEAVE_OUT:
        return f"names no column, but its value is not `{LEAVE_OUT}`. Correct or delete the line."
    if cells["column"] and cells["column"] not in plan.every_schema[cells["table"]].columns:
        return "names a column that the table does not have. Correct or delete the line."
    return ""


def identifying(plan: Plan, table: str, column: str, value: str) -> str:
    """Why a value may not be taken: it looks as if it pointed to a person, and the user has not cleared the column."""
    from liftseries.intake.identifiers.screen import role_of, screen_column

    if not column or column in plan.reading.cleared.get(table, ()):
        return ""
    cell = np.array([value], dtype=object)
    for kind in screen_column(cell, role_of(plan.every_schema[table], column)):
        return f"what looks like {kind.words}. Enter a pseudonym, or a label that points to nobody."
    return ""


def finding_of_line(line: int, message: str, table: str = "", place: str = "", rule: str = FITS) -> Finding:
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
        file.write(_as_csv(lines, _separator(before), with_header=not before).encode("utf-8"))
    return path


def _separator(before: bytes) -> str:
    """A spreadsheet program may have saved the file with semicolons; it stays as it is."""
    return ";" if b";" in before.split(b"\n", 1)[0] else ","


def _as_csv(lines: Sequence[Correction], separator: str, with_header: bool) -> str:
    text = io.StringIO()
    writer = csv.writer(text, delimiter=separator, lineterminator="\n")
    if with_header:
        writer.writerow(COLUMNS)
    writer.writerows([getattr(line, name) for name in COLUMNS] for line in lines)
    return text.getvalue()
