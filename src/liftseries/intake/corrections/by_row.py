"""Lines of the older form, which named rows by file and number: given the rows' keys, once.

A line whose row still has the fingerprint it had goes over with the row's key. One whose row has changed keeps its
place in the audit trail under the name of its file and row; no row has such a key, so it is told until it is withdrawn.
"""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from liftseries.base.outputs import written_whole
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.corrections.corrected import stood_class, stood_hash
from liftseries.intake.corrections.fingerprint import as_text, fingerprint, raw_row
from liftseries.intake.corrections.lines import (
    BY_ROW_COLUMNS,
    LEAVE_OUT,
    Correction,
    as_csv,
    column_names,
    identifying,
    sheet_of_lines,
)
from liftseries.intake.corrections.rows import Filed
from liftseries.intake.files.grid import Unreadable
from liftseries.study.plan import Plan
from liftseries.study.plan_files import CORRECTIONS_FILE

OLD_FILE = "corrections_by_row{}.csv"
NOBODY = "not-recorded"
REASON = "line of the older form by row number"


@dataclass(frozen=True)
class Converted:
    """How many lines went over, and the names of those whose row could not be found again."""

    n: int
    lost: list[str]  # `sites.csv, row 12, tooth`


def has_lines_by_row(plan: Plan) -> bool:
    """Whether corrections.csv is of the older form."""
    try:
        sheet = sheet_of_lines(plan)
    except Unreadable:
        return False
    return sheet is not None and column_names(sheet) == BY_ROW_COLUMNS


def convert(plan: Plan, tables: Mapping[str, Filed]) -> Converted:
    """Writes corrections.csv in the present form; the older file stays beside it under a name of its own.

    Parameters
    ----------
    plan
    tables : every table that the plan names, as filed, with the study's key
    """
    sheet = sheet_of_lines(plan)
    lines: list[Correction] = []
    of_cell: dict[tuple[str, str, str], int] = {}
    lost = []
    for at in range(len(sheet.rows)):
        cells = dict(zip(BY_ROW_COLUMNS, map(as_text, raw_row(sheet, at)), strict=True))
        filed, index = _row(plan, tables, cells)
        if index is None:
            key, stood, stood_was = f"{cells['file']}, row {cells['row']}", "unknown", ""
            lost.append(f"{key}, {cells['column'] or LEAVE_OUT}")
        else:
            key = filed.address(index)
            rows = filed.found(key)
            stood, stood_was = stood_class(filed, cells["column"], rows), stood_hash(filed, key, cells["column"], rows)
        cell = (cells["table"], key, cells["column"])
        lines.append(
            Correction(
                line=len(lines) + 1,
                table=cells["table"],
                key=key,
                column=cells["column"],
                stood=stood,
                stood_hash=stood_was,
                value=cells["value"],
                reason=REASON,
                person=NOBODY,
                date=datetime.date.today().isoformat(),
                supersedes=of_cell.get(cell),
            )
        )
        of_cell[cell] = len(lines)
    path = plan.folder / CORRECTIONS_FILE
    _free_name(plan).write_bytes(path.read_bytes())
    with written_whole(path) as temporary:
        temporary.write_bytes(as_csv(lines).encode("utf-8"))
    return Converted(len(lines) - len(lost), lost)


def _free_name(plan: Plan) -> Path:
    names = (OLD_FILE.format(number) for number in itertools.chain([""], (f"_{n}" for n in itertools.count(2))))
    return next(path for path in map(plan.folder.joinpath, names) if not path.exists())


def _row(plan: Plan, tables: Mapping[str, Filed], cells: Mapping[str, str]) -> tuple[Filed | None, int | None]:
    """The row that a line means, where it still fits it and may be corrected so."""
    filed, number = tables.get(cells["table"]), number_in(cells["row"])
    if filed is None or number is None or identifying(plan, cells["table"], cells["column"], cells["value"]):
        return filed, None
    labels = [source.label for source in plan.tables[cells["table"]]]
    index = filed.index(labels.index(cells["file"]), int(number)) if cells["file"] in labels else None
    if index is None or not (filed.has(index, cells["column"]) if cells["column"] else cells["value"] == LEAVE_OUT):
        return filed, None
    whole = fingerprint(filed.sheet(index), raw_row(filed.sheet(index), int(filed.at[index])))
    return filed, index if whole == cells["old_sha256"] else None
