"""Identifiers in a study's tables, told by place and kind.

An identifier stops the run whatever `invalid_rows` says, since a row set aside would carry it along; its finding
belongs to the column, not to a row. The text itself is never told.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping

import numpy as np

from liftseries.intake.draft.draft import Draft
from liftseries.intake.files.grid import is_blank, letters
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.identifiers.file_names import kind_of_file_name
from liftseries.intake.identifiers.kinds import Kind, Role
from liftseries.intake.identifiers.screen import (
    KEYS,
    as_text,
    kind_of_header_cell,
    role_of,
    screen_column,
    screen_refused,
)
from liftseries.intake.identifiers.search import kinds_of
from liftseries.intake.told.decisions import Decision
from liftseries.intake.told.findings import Finding
from liftseries.study.forms import folded_name
from liftseries.study.plan import Plan
from liftseries.study.plan_files import PLAN_FILE
from liftseries.study.reading import Reading
from liftseries.study.schema import Table

CELL_RULE, HEADER_RULE, WORDS_RULE = "text_is_no_identifier", "header_is_no_identifier", "study_names_nobody"
FILE_NAME_RULE = "file_is_called_by_its_table"
CLEARED_RULE = "column_cleared_by_the_user"


def screen_draft(draft: Draft, readings: Mapping[str, Reading]) -> None:
    """Leaves one finding for each file, column and kind, with all its rows; a cleared column a decision instead.

    A file is looked at as it was filed, before forms of reading too: an identifier that a correction covers, or that
    a row left out or an ignored column holds, still lies in it.
    A number or level that is refused here is told by no other check, for those quote numbers.
    """
    for file_no, sheet in draft.raw_files.items():
        _screen_titles(draft, file_no, sheet)
        reading = readings.get(sheet.source.label, Reading())
        cleared = set(map(folded_name, reading.cleared.get(draft.table.name, ())))
        names = draft.as_filed[file_no].named
        if names is None:
            of_schema = {position: name for name, position in draft.headers[file_no].positions.items()}
            names = {position: of_schema.get(position, "") for position in range(len(sheet.header))}
        for position, name in sorted(names.items()):
            called = name or folded_name("" if is_blank(sheet.header[position]) else sheet.header[position])
            if called and called in cleared and (name or called in map(folded_name, reading.forms.ignore)):
                draft.decisions.append(_clearance(draft.table, sheet, name or str(sheet.header[position])))
                continue
            where = sheet.header_place(position)
            if kind := kind_of_header_cell(sheet.header[position], draft.table, name):
                message = f"the name of this column says that it holds {kind.words}. {_what_to_do(draft.table, name)}"
                draft.find_in_file(HEADER_RULE, file_no, where, message, name, position, "text")
            role, cells = role_of(draft.table, name), sheet.columns[position]
            found = screen_column(cells, role, dates=not name)
            if role is Role.NUMBER:
                refused = {}
                if (unsound := _refused(draft, file_no, sheet, name, cells)) is not None:
                    refused = screen_refused(unsound, _has_levels(draft.table, name))
                found = {kind: _either(found.get(kind), refused.get(kind)) for kind in (*found, *refused)}
            for kind, rows in found.items():
                place = _place(sheet, rows, name, position)
                message = f"{_looks_like(kind, name, draft.table)}. {_what_to_do(draft.table, name)}"
                draft.find_in_file(CELL_RULE, file_no, place, message, name, position, "text")
                if name and draft.table.columns[name].type != "text":
                    _silence(draft, file_no, sheet.rows[rows], name)


def _refused(draft: Draft, file_no: int, sheet: Sheet, name: str, cells: np.ndarray) -> np.ndarray | None:
    """The cells of a column that give no value, None in the place of the others, or of all of them."""
    if draft.sound[name].all():
        return None
    unsound = draft.rows[(draft.file_no == file_no) & ~draft.sound[name]]
    return np.where(np.isin(sheet.rows, unsound), cells, None)


def _has_levels(table: Table, name: str) -> bool:
    return table.columns[name].type == "category"


def _either(rows: np.ndarray | None, more: np.ndarray | None) -> np.ndarray:
    none = np.zeros(0, dtype=int)
    return np.union1d(none if rows is None else rows, none if more is None else more)


def tell_file_names(draft: Draft) -> None:
    """A decision for each file whose name is not told in messages, for it looks like somebody's or carries a date."""
    for source in draft.sources:
        if source.instead and (kind := kind_of_file_name(source.label)):
            decision = Decision(
                table=draft.table.name,
                file=source.told,
                row=None,
                column="",
                place=f"{PLAN_FILE}, tables, {draft.table.name}",
                stood=f"the name of a file or sheet that looks like {kind.words}",
                taken_for=f"`{source.told}` in messages; rename it before it is handed on",
                rule=FILE_NAME_RULE,
            )
            draft.decisions.append(decision)


def _screen_titles(draft: Draft, file_no: int, sheet: Sheet) -> None:
    """Rows above the header and rows of units are no data, but they go wherever the file goes."""
    for row, row_cells in sheet.beside.items():
        for position, cell in enumerate(row_cells):
            text = as_text(cell)
            kinds = [Kind.DATE] if isinstance(cell, datetime.date) else list(kinds_of([text], Role.LABEL).values())
            if kinds:
                where = sheet.place(row, f"column {position + 1} ({letters(position)})", position)
                message = f"looks like {kinds[0].words}. Take it out, though it is no part of the table."
                draft.find_in_file(CELL_RULE, file_no, where, message, "", position, "text")


def screen_words(plan: Plan) -> list[Finding]:
    """Titles, file and sheet names of study.yaml, for what can be nothing but an identifier, and an audit's policy."""
    own = {"study, id": [plan.study_id], "study, title": [plan.title], "study, question": [plan.question]}
    files = {f"tables, {table}": [source.label for source in sources] for table, sources in plan.tables.items()}
    looked_at = [(where, words, Role.HARD_ONLY) for where, words in (own | files).items()]
    findings = []
    for number, (where, words, role) in enumerate([*looked_at, *_words_of_policy(plan)]):
        for kind in dict.fromkeys(kinds_of(words, role).values()):
            advice = "Rename the file or sheet." if where.startswith("tables") else "Write it without."
            advice = "Enter a role in small letters, such as head of department." if role is Role.KEY else advice
            findings.append(
                Finding(
                    table="",
                    file=PLAN_FILE,
                    row=None,
                    column="",
                    value_class="text",
                    rule=WORDS_RULE,
                    message=f"holds what looks like {kind.words}. {advice}",
                    place=f"{PLAN_FILE}, {where}",
                    order=(-1, number),
                )
            )
    return findings


def _words_of_policy(plan: Plan) -> list[tuple[str, list[str], Role]]:
    policy = plan.audit["policy"]
    told = [("plan, audit, policy, flag_means", [policy["flag_means"]], Role.LABEL)]
    for number, stage in enumerate(policy["stages"], start=1):
        where = f"plan, audit, policy, stages, entry {number}"
        told += [(where, [stage["name"], stage["what"]], Role.LABEL), (f"{where}, who", [stage["who"]], Role.KEY)]
    return told


def _looks_like(kind: Kind, name: str, table: Table) -> str:
    if kind is Kind.OTHER and role_of(table, name) is Role.NUMBER:
        return "nine or more digits, as no measurement has: looks like a telephone, record or account number"
    return f"looks like {kind.words}"


def _what_to_do(table: Table, name: str) -> str:
    """A key is to be replaced, anything else to go; a false alarm can be cleared where the schema knows the column."""
    if not name:
        return "Take the column out, or replace identifiers with `liftseries pseudonymise`."
    do = "Replace it by a pseudonym (`liftseries pseudonymise`)" if name in KEYS else "Take it out"
    do = table.people.get(name, do)
    cleared = f"reading: {{cleared: {{{table.name}: [{name}]}}}}"
    return f"{do}. If it is none, write `{cleared}` in {PLAN_FILE} once you have looked at the whole column."


def _place(sheet: Sheet, rows: np.ndarray, name: str, position: int) -> str:
    """All the rows in one place: `sites.csv, rows 2-41, 57, protocol`, in a workbook its cells."""
    shown = [int(row) for row in sheet.rows[rows]]
    where = name or f"column {position + 1} ({letters(position)})"
    if len(shown) == 1:
        return sheet.place(shown[0], where, position)
    runs = list(_runs(shown))
    if sheet.is_workbook:
        letter = letters(position)
        cells = [f"{letter}{first}" + (f":{letter}{last}" if last > first else "") for first, last in runs]
        return f"{sheet.shown}, cells {', '.join(cells)}, {where}"
    return f"{sheet.shown}, rows {', '.join(str(a) if a == b else f'{a}-{b}' for a, b in runs)}, {where}"


def _runs(rows: list[int]) -> Iterator[tuple[int, int]]:
    first = last = rows[0]
    for row in rows[1:]:
        if row != last + 1:
            yield first, last
            first = row
        last = row
    yield first, last


def _silence(draft: Draft, file_no: int, rows: np.ndarray, name: str) -> None:
    refused = {int(index) for index in np.flatnonzero((draft.file_no == file_no) & np.isin(draft.rows, rows))}
    draft.sound[name][list(refused)] = False
    draft.findings[:] = [
        finding for finding in draft.findings if not (finding.column == name and finding.index in refused)
    ]


def _clearance(table: Table, sheet: Sheet, name: str) -> Decision:
    return Decision(
        table=table.name,
        file=sheet.source.told,
        row=None,
        column=name,
        place=f"{sheet.shown}, {name}",
        stood="a column that the user declares free of identifiers",
        taken_for="as it stands, without the identifier screen",
        rule=CLEARED_RULE,
    )
