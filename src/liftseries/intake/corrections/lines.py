"""corrections.csv: what the user corrected, put over the raw cells at every reading.

The centres' files stay as they were sent. Each line names a cell, the SHA-256 of its row as the file has it,
and the value that stands there instead; of two lines for one cell the later one holds. A line without a
column and with the value `leave out` takes its row out. A row that has changed since is not corrected: that
is a fault, for the line may no longer be meant for it.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from liftseries.base.numbers import plain
from liftseries.base.outputs import written_whole
from liftseries.intake.cells.cells import number_in, value_class
from liftseries.intake.files.grid import BLANKS, DATES, Oddity, Unreadable, is_blank, letters
from liftseries.intake.files.headers import Header
from liftseries.intake.files.sources import Sheet, read_sheet
from liftseries.intake.told.decisions import Decision
from liftseries.intake.told.findings import Finding
from liftseries.study.plan import Plan
from liftseries.study.plan_files import CORRECTIONS_FILE, Source
from liftseries.study.schema import TABLES

COLUMNS = ("table", "file", "row", "column", "old_sha256", "value")
LEAVE_OUT = "leave out"
FITS = "correction_fits_its_row"
STOOD = {"empty": "an empty cell", "integer": "a whole number", "error": "an error of the workbook"}


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
        """The lines for a row that still fit it, in order; see `_does_not_fit`."""
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


@dataclass(frozen=True)
class CorrectedSheet:
    """A file's cells with its corrections over them."""

    sheet: Sheet  # without the rows left out
    cells: dict[tuple[int, str], Correction]  # (row, column) -> the line that holds
    left_out: dict[int, Correction]  # row -> the line that takes it out
    findings: list[Finding]
    decisions: list[Decision]


# ── what a row is known by ──────────────────────────────────────────────────────────────────────


def as_text(cell: object) -> str:
    """A raw cell as it would stand in a CSV: the same text whether a file holds 5.2 or "5.2"."""
    if is_blank(cell) or (isinstance(cell, float) and math.isnan(cell)):
        return ""
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, int):
        return str(cell)
    if isinstance(cell, float):
        return plain(cell) if math.isfinite(cell) else str(cell)
    if isinstance(cell, Oddity):
        return f"#{cell.value}"
    return unicodedata.normalize("NFC", str(cell).strip(BLANKS))


def fingerprint(sheet: Sheet, cells: Sequence[object]) -> str:
    """SHA-256 of a row's filled cells under their column names; the order of the columns does not matter.

    Parameters
    ----------
    sheet
        Gives the header.
    cells : shape (n_columns,), the raw cells of one row
    """
    names = (letters(at) if is_blank(cell) else as_text(cell).lower() for at, cell in enumerate(sheet.header))
    filled = sorted((name, text) for name, cell in zip(names, cells, strict=True) if (text := as_text(cell)))
    return hashlib.sha256(json.dumps(filled, ensure_ascii=False).encode("utf-8", "surrogatepass")).hexdigest()


def raw_row(sheet: Sheet, at: int) -> list[object]:
    """The cells of a row by its position in the sheet, shape (n_columns,)."""
    return [column[at] for column in sheet.columns]


def states(raw: Sequence[object], header: Header, lines: Iterable[Correction]) -> list[list[object]]:
    """The row as the file has it, then as each line in turn left it."""
    rows = [list(raw)]
    for line in lines:
        row = list(rows[-1])
        if not line.leaves_out:
            row[header.positions[line.column]] = line.value or None
        rows.append(row)
    return rows


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
        corrections.findings.append(_finding(0, error.message, place=error.place, rule=error.rule))
        return corrections
    names = [as_text(cell).lower() for cell in sheet.header]
    if names != list(COLUMNS):
        message = f"the columns must be {', '.join(COLUMNS)}, in this order. Mend the header, or take the file away."
        corrections.findings.append(_finding(sheet.header_row, message))
        return corrections
    for at, row in enumerate(sheet.rows):
        cells = dict(zip(names, (as_text(cell) for cell in raw_row(sheet, at)), strict=True))
        if at in sheet.ragged:
            message = "more or fewer cells than columns. Put quotes around a cell that holds the separator."
        else:
            message = _wrong_address(cells, plan) or identifying(plan, cells["table"], cells["column"], cells["value"])
        if message:
            corrections.findings.append(_finding(int(row), message, cells["table"]))
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
    if cells["column"] and cells["column"] not in plan.schema[cells["table"]].columns:
        return "names a column that the table does not have. Correct or delete the line."
    return ""


def identifying(plan: Plan, table: str, column: str, value: str) -> str:
    """Why a value may not be taken: it looks as if it pointed to a person, and the user has not cleared the column."""
    from liftseries.intake.identifiers.screen import role_of, screen_column

    if not column or column in plan.reading.cleared.get(table, ()):
        return ""
    cell = np.array([value], dtype=object)
    for kind in screen_column(cell, role_of(plan.schema[table], column)):
        return f"what looks like {kind.words}. Enter a pseudonym, or a label that points to nobody."
    return ""


def corrected(sheet: Sheet, header: Header, table: str, lines: dict[int, list[Correction]]) -> CorrectedSheet:
    """The sheet with its corrections over the raw cells.

    Parameters
    ----------
    sheet, header
        The file as it was read.
    table : its name
    lines : row -> the file's lines for it, in order
    """
    result = CorrectedSheet(sheet, {}, {}, [], [])
    if not lines:
        return result
    columns = [column.copy() for column in sheet.columns]
    position = {int(row): at for at, row in enumerate(sheet.rows)}
    for row, of_row in lines.items():
        at = position.get(row)
        now = "" if at is None else fingerprint(sheet, raw_row(sheet, at))
        for line in of_row:
            message = _does_not_fit(line, now, sheet, header)
            if message:
                result.findings.append(_finding(line.line, message, table))
            elif line.leaves_out:
                result.left_out[row] = line
            else:
                result.cells[row, line.column] = line
    for (row, column), line in result.cells.items():
        at, into = position[row], header.positions[column]
        result.decisions.append(_decision(line, sheet.place(row, column, into), columns[into][at]))
        columns[into][at] = line.value or None
    for row, line in result.left_out.items():
        result.decisions.append(_decision(line, sheet.row_place(row), None))
    return replace(result, sheet=replace(sheet, columns=columns).without(result.left_out))


def _does_not_fit(line: Correction, now: str, sheet: Sheet, header: Header) -> str:
    if not now:
        return f"{sheet.row_place(line.row)} is empty or not there. Delete the line, or mend the row's number."
    if not (line.leaves_out or header.can_be_read(line.column)):
        return f"{sheet.shown} has no column {line.column} that can be read. Add it there, or delete the line."
    if now != line.old_sha256:
        return (
            f"{sheet.row_place(line.row)} has changed since it was corrected. Delete the line; where the row is "
            "still wrong, `liftseries check --corrections` writes it again."
        )
    return ""


def _decision(line: Correction, place: str, cell: object) -> Decision:
    kind = value_class(cell)
    stood = "a date" if isinstance(cell, DATES) else STOOD.get(kind, f"a {kind}")
    return Decision(
        table=line.table,
        file=line.file,
        row=line.row,
        column=line.column,
        place=place,
        stood="a row" if line.leaves_out else stood,
        taken_for="nothing: the row is left out" if line.leaves_out else f"the value in {line.place}",
        rule="left_out" if line.leaves_out else "corrected",
    )


def _finding(line: int, message: str, table: str = "", place: str = "", rule: str = FITS) -> Finding:
    return Finding(
        table=table if table in TABLES else "",
        file=CORRECTIONS_FILE,
        row=None,
        column="",
        value_class="text",
        rule=rule,
        message=message,
        place=place or f"{CORRECTIONS_FILE}, row {line}",
        order=(len(TABLES), 0, line, 0),
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
