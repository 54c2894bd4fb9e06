"""The correction workbook handed back: which cells were changed, and the lines of corrections.csv they make.

A row is known again by its key, wherever it now stands in the workbook and in its file; a column by its name. What was
changed is told by comparing with the row as the workbook was written, which the file and the lines of corrections.csv
until then give again. A row is taken whole or not at all; one that cannot be taken is refused with its place and does
not hold up the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from liftseries.base.errors import Problem, StudyError, UsageError
from liftseries.intake.books.dependants import dependants, told_of
from liftseries.intake.books.first_sheet import README_SHEET
from liftseries.intake.books.marks import parsed, row_mark, study_mark
from liftseries.intake.books.own_words import in_own_words
from liftseries.intake.books.returned_sheet import (
    ReturnedRow,
    cannot_be_taken,
    is_filled,
    read_book,
    returned,
    rows_of,
)
from liftseries.intake.books.trail import sound_corrections, today
from liftseries.intake.books.workbook_cells import KEY, MARK, OUT, PERSON, REASON, shown
from liftseries.intake.corrections.corrected import Laid, lay_over, stood_class, stood_hash
from liftseries.intake.corrections.lines import (
    LEAVE_OUT,
    LEAVE_OUT_COPIES,
    Correction,
    Corrections,
    append_corrections,
    identifying,
    identifying_words,
)
from liftseries.intake.corrections.rows import Filed, canonical
from liftseries.intake.draft.opened import opened
from liftseries.intake.files.grid import Oddity, is_blank
from liftseries.intake.identifiers.kinds import Role
from liftseries.study.plan import Plan
from liftseries.study.reading import Reading

Told = list[tuple[str, str]]  # (place, what depends on it)


@dataclass
class Applied:
    """What was taken over into corrections.csv, and what was not."""

    lines: list[Correction] = field(default_factory=list)
    refused: list[Problem] = field(default_factory=list)

    @property
    def n_cells(self) -> int:
        return sum(not line.leaves_out for line in self.lines)

    @property
    def n_left_out(self) -> int:
        return sum(line.leaves_out for line in self.lines)


@dataclass
class _Study:
    """The study as it is while a workbook is taken over."""

    plan: Plan
    corrections: Corrections
    tables: Mapping[str, Filed]
    person: str
    reason: str
    as_of: dict[int, Laid] = field(default_factory=dict)

    @cached_property
    def now(self) -> Laid:
        return lay_over(self.tables, self.corrections)

    def then(self, last_line: int) -> Laid:
        """With the lines of corrections.csv until that one."""
        if last_line not in self.as_of:
            self.as_of[last_line] = lay_over(self.tables, self.corrections.until(last_line))
        return self.as_of[last_line]

    def was_taken(self, table: str, key: str, column: str, value: str, last_line: int) -> bool:
        """Whether the workbook was taken over before: a line written since says so, whatever became of it."""
        return any(
            (line.table, line.key, line.column, line.value) == (table, key, column, value)
            for line in self.corrections.lines
            if line.line > last_line
        )

    def line(self, table: str, index: int, key: str, column: str, value: str, row: tuple[str, str]) -> Correction:
        """A new line, without its number; `row` gives reason and person."""
        rows = self.tables[table].found(key)
        earlier = self.now.cells.get((table, index, column)) if column else self.now.left_out.get((table, index))
        followed = (table, index, column) in self.now.followed
        return Correction(
            line=0,
            table=table,
            key=key,
            column=column,
            stood=stood_class(self.tables[table], column, rows),
            stood_hash=stood_hash(self.tables[table], key, column, rows),
            value=value,
            reason=row[0],
            person=row[1],
            date=today(),
            supersedes=None if earlier is None or followed else earlier.line,
        )


def apply_book(
    plan: Plan,
    path: Path,
    consent: Callable[[Told], bool] = lambda told: False,
    person: str = "",
    reason: str = "",
) -> Applied:
    """Takes the changed cells of a correction workbook over into corrections.csv.

    Parameters
    ----------
    plan
    path
        The workbook as it came back.
    consent
        Asked, where a row left out takes others along, with the place of each and what depends on it.
    person, reason
        For changed rows that give none.

    Raises
    ------
    UsageError
        No such file, none that is a correction workbook, or one of another study.
    StudyError
        corrections.csv itself has problems, or nobody consented; nothing is added to it.
    """
    sheets = read_book(path)
    corrections = sound_corrections(plan)
    tables = {name: draft.filed for name, draft in opened(plan, corrections).items()}
    study, applied = _Study(plan, corrections, tables, person, reason), Applied()
    rows = _rows(study, sheets, path, applied)
    _same_study(study, [row for _, row in rows], path)
    for table, row in rows:
        _apply_row(study, table, row, applied)
    _take_along(study, applied, consent)
    applied.lines = [_numbered(line, corrections.last + at) for at, line in enumerate(applied.lines, start=1)]
    append_corrections(plan, applied.lines)
    return applied


def _numbered(line: Correction, number: int) -> Correction:
    return Correction(**{**vars(line), "line": number})


def _rows(study: _Study, sheets: list, path: Path, applied: Applied) -> list[tuple[str, ReturnedRow]]:
    """The rows of all sheets, each with its table."""
    found, n_tables = [], 0
    for number, (title, cells) in enumerate(sheets, start=1):
        if title.strip().lower() == README_SHEET:
            continue
        # A title that is none of ours may be a name.
        if title in study.tables:
            n_tables += 1
            rows, problems = rows_of(study.tables[title].table, f"{path.name}, sheet {title}", cells)
            found += [(title, row) for row in rows]
            applied.refused += problems
        elif is_filled(cells):
            message = "carries the name of no table of the study. Give it back its name, or delete it."
            applied.refused.append(Problem(f"{path.name}, sheet {number}", message))
    if not n_tables and not applied.refused:
        raise UsageError(f"{path.name} holds no rows to correct. Hand back the workbook that --corrections wrote.")
    return found


def _same_study(study: _Study, rows: list[ReturnedRow], path: Path) -> None:
    own = study_mark(study.plan, study.corrections.secret)
    marks = [mark for row in rows if (mark := parsed(row.text(MARK)))]
    if marks and all(mark.study != own for mark in marks):
        raise UsageError(f"{path.name} is the workbook of another study. Hand back the one that was written for this.")


# ── a row ───────────────────────────────────────────────────────────────────────────────────────


def _apply_row(study: _Study, table: str, row: ReturnedRow, applied: Applied) -> None:
    """The row's lines, or why nothing of it is taken."""
    filed, key, mark = study.tables[table], row.text(KEY), parsed(row.text(MARK))
    rows = filed.found(key)
    if not rows or mark is None or row.text(MARK) != row_mark(study.plan, filed, rows[0], key, mark.last_line):
        message = "the row has changed in its file since, or is not there. Write a new workbook and correct it there."
        applied.refused.append(Problem(row.place, message))
        return
    if not filed.are_one(rows):
        message = "the same in every cell as another row without a key, so that nobody can tell them apart."
        applied.refused.append(Problem(row.place, f"{message} Correct it in its file."))
        return
    changes = list(_changes(study, table, rows[0], row, mark.last_line))
    problems = [Problem(place, problem) for _, _, place, problem in changes if problem]
    out = row.text(OUT).casefold()
    if out and out not in (LEAVE_OUT, LEAVE_OUT_COPIES):
        message = f"neither empty nor `{LEAVE_OUT}`. Write that, or clear the cell."
        problems.append(Problem(row.cells[OUT][1], message))
    leaves = [("", out, row.place, "")] if out and not study.was_taken(table, key, "", out, mark.last_line) else []
    if not (changes or leaves or problems):
        return
    who = row.text(REASON) or study.reason, row.text(PERSON) or study.person
    problems += list(_who_cannot_be_taken(row, *who))
    if problems:
        applied.refused += problems
        return
    for column, value, _, _ in [*changes, *leaves]:
        applied.lines.append(study.line(table, rows[0], key, column, value, who))


def _changes(
    study: _Study, table: str, index: int, row: ReturnedRow, last_line: int
) -> Iterator[tuple[str, str, str, str]]:
    """Column, value, place and what is wrong with it, of each cell that differs from the row as written and as now."""
    filed, then, now = study.tables[table], study.then(last_line), study.now
    for name, column in filed.table.columns.items():
        if name not in row.cells:
            continue
        cell, place = row.cells[name]
        if not filed.has(index, name):
            if not is_blank(cell):
                message = f"the row's file has no column {name} that can be read. Add it there, or clear the cell."
                yield name, "", place, message
            continue
        value, stood = returned(cell), (then.value(table, index, name), now.value(table, index, name))
        unclear, same = "", value in map(shown, stood)
        if not same:
            reading = study.plan.readings.get(filed.sheet(index).source.label, Reading())
            value, unclear = in_own_words(value, filed, index, name, reading)
            same = not unclear and canonical(value, column) in (canonical(old, column) for old in stood)
        if not isinstance(cell, Oddity) and (same or study.was_taken(table, row.text(KEY), name, value, last_line)):
            continue
        yield name, value, place, cannot_be_taken(cell) or unclear or identifying(study.plan, table, name, value)


def _who_cannot_be_taken(row: ReturnedRow, reason: str, person: str) -> Iterator[Problem]:
    if not (reason and person):
        message = (
            f'changed, but "{REASON}" or "{PERSON}" is empty. Fill both in, or name them with --reason and --person.'
        )
        yield Problem(row.place, message)
    for title, text, role in ((REASON, reason, Role.LABEL), (PERSON, person, Role.KEY)):
        cell, place = row.cells.get(title, (text, row.place))
        if problem := cannot_be_taken(text if is_blank(cell) else cell) or identifying_words(text, role):
            yield Problem(place, problem)


# ── what goes with a row left out ───────────────────────────────────────────────────────────────


def _take_along(study: _Study, applied: Applied, consent: Callable[[Told], bool]) -> None:
    """A line for each row that depends on one left out, where somebody consents."""
    leaving: dict[tuple[str, int], Correction] = {}
    for line in applied.lines:
        if line.leaves_out:
            rows = study.tables[line.table].found(line.key)
            leaving |= {(line.table, row): line for row in (rows[1:] if line.value == LEAVE_OUT_COPIES else rows)}
    laid = lay_over(study.tables, _with(study.corrections, applied.lines))
    found = dependants(laid, leaving)
    if not found:
        return
    told = told_of(laid, found)
    if not consent(told):
        message = "would be left out with it. Say --yes to leave them out too. Nothing of the workbook was taken over."
        raise StudyError([Problem(place, f"{what} {message}") for place, what in told])
    done = {(line.table, line.key) for line in leaving.values()}
    for table, index in found:
        key, by = study.tables[table].address(index), found[table, index]
        while by in found:
            by = found[by]
        if (table, key) not in done:  # copies are one line
            done.add((table, key))
            who = (leaving[by].reason, leaving[by].person)
            applied.lines.append(study.line(table, index, key, "", LEAVE_OUT, who))


def _with(corrections: Corrections, lines: list[Correction]) -> Corrections:
    """As they will be, the rows that are to be left out still there."""
    new = [_numbered(line, corrections.last + at) for at, line in enumerate(lines, start=1) if not line.leaves_out]
    return Corrections([*corrections.lines, *new], [], corrections.secret)
