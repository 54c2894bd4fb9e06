"""Tables with their corrections over the raw cells, the state of every line, and what no longer fits.

All tables at once: a key that is corrected takes the references to it along.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from liftseries.intake.cells.numbers import value_class
from liftseries.intake.corrections.chains import State, lines_that_hold
from liftseries.intake.corrections.lines import LEAVE_OUT_COPIES, Correction, Corrections, finding_of_line
from liftseries.intake.corrections.new_keys import keys_given, new_key, with_old_key
from liftseries.intake.corrections.rows import Filed, canonical
from liftseries.intake.corrections.secret import keyed_hash, trusted
from liftseries.intake.files.grid import DATES
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.told.decisions import Decision
from liftseries.intake.told.findings import Finding
from liftseries.study.plan_files import CORRECTIONS_FILE, KEY_FILE

STOOD = {"empty": "an empty cell", "integer": "a whole number", "error": "an error of the workbook"}
SEVERAL, ROW = "several", "row"  # classes of what stood there beside those of one cell


@dataclass
class Laid:
    """Corrections over the tables as filed; rows are numbered over the stacked files of their table."""

    tables: Mapping[str, Filed]
    states: dict[int, State] = field(default_factory=dict)  # by the line's number; withdrawing lines have none
    cells: dict[tuple[str, int, str], Correction] = field(default_factory=dict)  # (table, row, column) -> its line
    values: dict[tuple[str, int, str], str] = field(default_factory=dict)  # what stands there instead
    followed: set[tuple[str, int, str]] = field(default_factory=set)  # references that went along with a key
    left_out: dict[tuple[str, int], Correction] = field(default_factory=dict)
    rows: dict[int, list[int]] = field(default_factory=dict)  # by the line's number: what its key names
    keys_in_file: dict[tuple[str, str], Correction] = field(default_factory=dict)  # (table, old key): the centre's now
    findings: list[Finding] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)

    def value(self, table: str, index: int, column: str) -> object:
        """A cell as it stands with its corrections, empty where the row's file has no such column."""
        if (table, index, column) in self.cells:
            return self.values[table, index, column] or None
        return self.tables[table].cells(index).get(column)

    def sheets(self, table: str) -> dict[int, Sheet]:
        """The sheets with their corrections, without the rows left out."""
        filed, columns = self.tables[table], {}
        for (of_table, index, column), value in self.values.items():
            if of_table != table:
                continue
            no = int(filed.file_no[index])
            if no not in columns:
                columns[no] = [cells.copy() for cells in filed.sheets[no].columns]
            columns[no][filed.headers[no].positions[column]][filed.at[index]] = value or None
        gone: dict[int, list[int]] = {}
        for of_table, index in self.left_out:
            if of_table == table:
                gone.setdefault(int(filed.file_no[index]), []).append(int(filed.at[index]))
        sheets = {no: replace(filed.sheets[no], columns=of_file) for no, of_file in columns.items()}
        sheets = {**filed.sheets, **sheets}
        for no, positions in gone.items():  # by position, for a row of a file may be several of the table
            sheets[no] = sheets[no].of_positions(np.delete(np.arange(len(sheets[no].rows)), positions))
        return sheets


def lay_over(tables: Mapping[str, Filed], corrections: Corrections) -> Laid:
    """The corrections laid over the tables.

    Parameters
    ----------
    tables : by name, as filed; lines for other tables are passed over
    corrections
    """
    laid = Laid(tables)
    live, laid.states = lines_that_hold(corrections.lines)
    given = keys_given(live, tables)
    for line in live:
        if line.table in tables:
            _lay(line, laid, given)
    _references_follow(laid)
    _tell_not_verified(live, laid)
    for (table, index, column), line in laid.cells.items():
        follows = (table, index, column) in laid.followed
        laid.decisions.append(_decision(line, tables[table], index, column, follows))
    for (table, index), line in laid.left_out.items():
        laid.decisions.append(_decision(line, tables[table], index, ""))
    return laid


# ── a line ──────────────────────────────────────────────────────────────────────────────────────


def _lay(line: Correction, laid: Laid, given: Mapping[tuple[str, str, str], Correction]) -> None:
    filed, key = laid.tables[line.table], line.key
    if not (rows := filed.found(key)) and (rows := filed.found(new := new_key(line, filed, given))):
        key = new
    laid.rows[line.line] = rows
    state, message = _judged(line, filed, rows, key)
    if key != line.key and state is State.ALREADY_SO and line.column in filed.table.key:
        laid.keys_in_file[line.table, line.key] = line
    laid.states[line.line] = state
    if message:
        laid.findings.append(finding_of_line(line.row, f"{message} {WHAT_TO_DO}", line.table))
    if state is not State.APPLIED:
        return
    if line.leaves_out:
        gone = rows[1:] if line.value == LEAVE_OUT_COPIES else rows
        laid.left_out |= {(line.table, index): line for index in gone}
        return
    for index in rows:
        place = (line.table, index, line.column)
        if place in laid.cells:  # by another name of the same row
            laid.states[laid.cells[place].line] = State.SUPERSEDED
        laid.cells[place], laid.values[place] = line, line.value


WHAT_TO_DO = (
    f"Look at the row; `liftseries corrections STUDY --withdraw LINE` takes the line of {CORRECTIONS_FILE} back."
)


def _judged(line: Correction, filed: Filed, rows: Sequence[int], key: str) -> tuple[State, str]:
    """The state of a line whose rows were found by a key, the line's or a newer one, and what is told of it."""
    if not rows:
        if line.leaves_out and line.stood == ROW:
            return State.ALREADY_SO, ""
        return State.NOT_THERE, f"no row of {filed.table.name} has the key that it names."
    if not _are_one(line, filed, rows, key):
        places = ", ".join(filed.row_place(index) for index in rows[:5])
        return State.AMBIGUOUS, f"{len(rows)} rows that are no copies have the key that it names: {places}."
    if line.leaves_out:
        if line.value == LEAVE_OUT_COPIES and len(rows) == 1:
            return State.ALREADY_SO, ""
        texts = [filed.text(rows[0]), with_old_key(filed.text(rows[0]), line.key, filed.table.key)]
        now = [_row_hash(filed, line.key, text) for text in texts] if filed.secret else []
    else:
        if lacking := [index for index in rows if not filed.has(index, line.column)]:
            shown = filed.sheet(lacking[0]).shown
            return State.NOT_THERE, f"{shown} has no column {line.column} that can be read. Add it there."
        column = filed.table.columns[line.column]
        texts = {canonical(filed.cells(index)[line.column], column) for index in rows}
        new = canonical(line.value, column)
        if texts == {new}:
            return State.ALREADY_SO, ""
        now = [stood_hash(filed, line.key, line.column, rows)] if filed.secret else []
        now += [_hash_of(filed, line.key, line.column, texts - {new})] if filed.secret else []
    if line.stood_hash in now:
        return State.APPLIED, ""
    if filed.secret is None or not line.stood_hash:
        return (State.APPLIED if trusted() else State.NOT_VERIFIED), ""
    what = "the row" if line.leaves_out else f"{line.column} of the row"
    return State.NOT_THERE, f"{filed.row_place(rows[0])}: {what} has changed since it was corrected."


def _are_one(line: Correction, filed: Filed, rows: Sequence[int], key: str) -> bool:
    """One row, copies of one that has a key, or for a cell of a patient all rows that repeat the patient."""
    by_key = key == filed.keys[rows[0]]
    repeated = by_key and filed.table.name == "patients" and line.column and line.column not in filed.table.key
    return bool(repeated) or filed.are_one(rows)


def stood_class(filed: Filed, column: str, rows: Sequence[int]) -> str:
    """The class of what stands in a cell, of several rows one, or of the whole row."""
    if not column:
        return ROW
    classes = {value_class(filed.cells(index).get(column)) for index in rows}
    texts = {canonical(filed.cells(index).get(column), filed.table.columns[column]) for index in rows}
    return classes.pop() if len(texts) == len(classes) == 1 else SEVERAL


def stood_hash(filed: Filed, key: str, column: str, rows: Sequence[int]) -> str:
    """The keyed hash of what stands in a cell, in all rows of its key, or of the whole row."""
    if not column:
        return _row_hash(filed, key, filed.text(rows[0]))
    of_column = filed.table.columns[column]
    texts = {canonical(filed.cells(index).get(column), of_column) for index in rows}
    return _hash_of(filed, key, column, texts)


def _hash_of(filed: Filed, key: str, column: str, texts: Iterable[str]) -> str:
    return keyed_hash(filed.secret, filed.table.name, key, column, sorted(texts))


def _row_hash(filed: Filed, key: str, text: list[list[str]]) -> str:
    return keyed_hash(filed.secret, filed.table.name, key, ROW, text)


def _tell_not_verified(live: Sequence[Correction], laid: Laid) -> None:
    told = [line for line in live if laid.states.get(line.line) is State.NOT_VERIFIED]
    hashed = [line for line in told if line.stood_hash]
    if hashed:
        lines, them = ("1 line", "it") if len(hashed) == 1 else (f"{len(hashed)} lines", "them")
        why = f"for {KEY_FILE} is not beside it or is no key. Put it back, or say --trust to apply {them}."
        laid.findings.append(finding_of_line(0, f"{lines} cannot be checked, {why}", place=CORRECTIONS_FILE))
    for line in told:
        if not line.stood_hash:
            by_hand = "a line written by hand, without the hash of what stood there. Say --trust to apply it."
            laid.findings.append(finding_of_line(line.row, by_hand, line.table))


# ── references ──────────────────────────────────────────────────────────────────────────────────


def _references_follow(laid: Laid) -> None:
    """A reference goes along with its key, unless a row still has the old one or the cell has a line of its own."""
    for name, parent in laid.tables.items():
        if len(parent.table.key) > 1:
            continue
        new_keys = _new_keys(laid, name, parent)
        if not new_keys:
            continue
        for child_name, child in laid.tables.items():
            for column in (column for column, table in child.table.references.items() if table == name):
                for index, old in enumerate(child.texts(column)):
                    place = (child_name, index, column)
                    if old in new_keys and place not in laid.cells:
                        line = new_keys[old]
                        laid.cells[place], laid.values[place] = line, line.value
                        laid.followed.add(place)


def _new_keys(laid: Laid, name: str, parent: Filed) -> dict[str, Correction]:
    """Old key -> the line that gives all its rows a new one."""
    key = parent.table.key[0]
    changed = {index: line for (table, index, column), line in laid.cells.items() if (table, column) == (name, key)}
    if not changed and all(table != name for table, _ in laid.keys_in_file):
        return {}
    old_keys = parent.texts(key)
    # Corrected by the centre, too: its other files may have the old one still.
    new = {old: line for (table, old), line in laid.keys_in_file.items() if table == name and old not in parent.by_key}
    for index, line in changed.items():
        old = old_keys[index]
        rows = [row for row in parent.by_key.get(parent.keys[index], [index]) if (name, row) not in laid.left_out]
        if old and line.value and all(row in changed and changed[row].value == line.value for row in rows):
            new[old] = line
    return new


# ── what is told ────────────────────────────────────────────────────────────────────────────────


def _decision(line: Correction, filed: Filed, index: int, column: str, follows: bool = False) -> Decision:
    cell = filed.cells(index).get(column)
    kind = value_class(cell)
    stood = "a date" if isinstance(cell, DATES) else STOOD.get(kind, f"a {kind}")
    taken = f"the key as corrected in {line.place}" if follows else f"the value in {line.place}"
    return Decision(
        table=filed.table.name,
        file=filed.sheet(index).source.told,
        row=filed.row(index),
        column=column,
        place=filed.place(index, column) if column else filed.row_place(index),
        stood=stood if column else "a row",
        taken_for=taken if column else "nothing: the row is left out",
        rule=("reference_follows_key" if follows else "corrected") if column else "left_out",
    )
