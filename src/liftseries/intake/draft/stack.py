"""The files of one table read, corrected and stacked into its draft; nothing is checked beyond a cell on its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd

from liftseries.base.numbers import plain
from liftseries.intake.cells.columns import ColumnRead, read_column
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.corrections.corrected import lay_over
from liftseries.intake.corrections.lines import Corrections
from liftseries.intake.corrections.rows import Filed
from liftseries.intake.draft.draft import Draft
from liftseries.intake.files.grid import Unreadable
from liftseries.intake.files.headers import match_header
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.forms.files_read import FilesRead
from liftseries.study.plan_files import PLAN_FILE, Source
from liftseries.study.reading import Reading
from liftseries.study.schema import Column, Table


def open_table(
    table: Table,
    sources: tuple[Source, ...],
    readings: Mapping[str, Reading] | None = None,
    files: FilesRead | None = None,
    secret: bytes | None = None,
) -> Draft:
    """All files of a table as raw cells, its rows not stacked yet; nothing is corrected, typed or checked.

    Parameters
    ----------
    table, sources
    readings : how each file is read, by its label
    files : those of the study, where some may serve several tables
    secret : the study's key for corrections
    """
    draft, readings, files = Draft(table, sources), readings or {}, files or FilesRead({}, {})
    for file_no, source in enumerate(sources):
        reading = readings.get(source.label, Reading())
        try:
            filed, sheet = files.sheets_of(source, table, reading)
        except Unreadable as error:
            draft.find_in_file(error.rule, file_no, error.place, error.message)
            continue
        draft.sheets[file_no] = sheet
        draft.headers[file_no] = match_header(sheet, table)
        draft.as_filed[file_no] = sheet
        draft.raw_files[file_no] = filed
        draft.decisions += sheet.decisions
        _leave_out_hidden(draft, file_no)
        for fault in draft.headers[file_no].faults:
            draft.find_in_file(fault.rule, file_no, fault.place, fault.message, fault.column, fault.position)
        for fault in sheet.faults:
            draft.find_in_file(fault.rule, file_no, fault.place, fault.message)
    for fault in files.words_unmet(table):
        draft.find_in_file(fault.rule, len(sources) - 1, fault.place, fault.message)
    draft.filed = Filed(table, dict(draft.sheets), draft.headers, secret)
    draft.filed_at = np.arange(sum(len(sheet.rows) for sheet in draft.sheets.values()))
    return draft


def draft_table(
    table: Table,
    sources: tuple[Source, ...],
    readings: Mapping[str, Reading] | None = None,
    files: FilesRead | None = None,
) -> Draft:
    """Reads and types all files of a table without corrections; see `open_table`."""
    draft = open_table(table, sources, readings, files)
    stack(draft, readings)
    return draft


def _leave_out_hidden(draft: Draft, file_no: int) -> None:
    rows = draft.sheets[file_no].left_out
    draft.sheets[file_no] = draft.sheets[file_no].without(rows)
    draft.left_out += [(file_no, row, f"{PLAN_FILE}, reading, hidden") for row in rows]


def correct(drafts: Mapping[str, Draft], corrections: Corrections) -> None:
    """Puts the corrections over the raw cells of opened tables, and notes what became of each line."""
    laid = lay_over({name: draft.filed for name, draft in drafts.items()}, corrections)
    for name, draft in drafts.items():
        draft.sheets = laid.sheets(name)
        draft.decisions += [decision for decision in laid.decisions if decision.table == name]
        draft.states = {
            line.line: laid.states[line.line]
            for line in corrections.lines
            if line.table == name and line.line in laid.states
        }
    for finding in laid.findings:  # what concerns lines of several tables is told once, with the first
        drafts[finding.table if finding.table in drafts else next(iter(drafts))].findings.append(finding)
    for (name, index, column), line in laid.cells.items():
        drafts[name].corrected[index, column] = line
    for name, index, column in laid.followed:
        drafts[name].followed.add((index, column))
    for (name, index), line in laid.left_out.items():
        filed = drafts[name].filed
        drafts[name].left_out.append((int(filed.file_no[index]), filed.row(index), line.place))
        drafts[name].lines_out[index] = line
    for draft in drafts.values():
        draft.filed_at = np.delete(draft.filed_at, list(draft.lines_out))


def stack(draft: Draft, readings: Mapping[str, Reading] | None = None) -> None:
    """Stacks the rows of all files of an opened table and types their cells."""
    of_file = [(readings or {}).get(source.label, Reading()) for source in draft.sources]
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
        found = {file_no: read_column(raw, column, of_file[file_no]) for file_no, raw in pieces.items()}
        read += [(file_no, column, in_file) for file_no, in_file in found.items()]
        series = [in_file.values for in_file in found.values()] or [read_column(draft.raw[name], column).values]
        columns[name] = series[0] if len(series) == 1 else pd.concat(series, ignore_index=True)
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
        _record(draft, file_no, int(starts[file_no]), column, in_file)


def _piece(draft: Draft, file_no: int, name: str) -> np.ndarray:
    """The raw cells of one file's column; empty ones where it has none that can be read."""
    sheet, header = draft.sheets[file_no], draft.headers[file_no]
    if header.can_be_read(name):
        return sheet.columns[header.positions[name]]
    return np.full(len(sheet.rows), None, dtype=object)


def _record(draft: Draft, file_no: int, start: int, column: Column, read: ColumnRead) -> None:
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
        _record_stored_as_text(draft, start, name, read)


def _holds_texts_only(sheet: Sheet) -> bool:
    return sheet.source.path.suffix.lower() in (".csv", ".txt")


def _record_stored_as_text(draft: Draft, start: int, name: str, read: ColumnRead) -> None:
    """In a file whose cells have types, a number under the text format is not simply what it shows."""
    for row in range(len(read.values)):
        cell, index = draft.raw[name][start + row], start + row
        if isinstance(cell, str) and draft.sound[name][index] and row not in read.taken:
            number = number_in(cell)
            if number is not None:
                draft.decide(index, name, "a number stored as a text", plain(number), "number_is_read_from_text")


def _joined(pieces: list[np.ndarray], dtype: Callable) -> np.ndarray:
    return np.concatenate([np.zeros(0, dtype=dtype), *pieces]) if pieces else np.zeros(0, dtype=dtype)
