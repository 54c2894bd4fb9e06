"""A sheet with its corrections over the raw cells, and which of them no longer fit their row."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from liftseries.intake.cells.numbers import value_class
from liftseries.intake.corrections.fingerprint import fingerprint, raw_row
from liftseries.intake.corrections.lines import Correction, finding_of_line
from liftseries.intake.files.grid import DATES
from liftseries.intake.files.headers import Header
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.told.decisions import Decision
from liftseries.intake.told.findings import Finding

STOOD = {"empty": "an empty cell", "integer": "a whole number", "error": "an error of the workbook"}


@dataclass(frozen=True)
class CorrectedSheet:
    """A file's cells with its corrections over them."""

    sheet: Sheet  # without the rows left out
    cells: dict[tuple[int, str], Correction]  # (row, column) -> the line that holds
    left_out: dict[int, Correction]  # row -> the line that takes it out
    findings: list[Finding]
    decisions: list[Decision]


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
                result.findings.append(finding_of_line(line.line, message, table))
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


def states(raw: Sequence[object], header: Header, lines: Iterable[Correction]) -> list[list[object]]:
    """The row as the file has it, then as each line in turn left it."""
    rows = [list(raw)]
    for line in lines:
        row = list(rows[-1])
        if not line.leaves_out:
            row[header.positions[line.column]] = line.value or None
        rows.append(row)
    return rows
