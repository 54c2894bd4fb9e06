"""Schema to validator: ranges, levels, key and row rules of one table as a pandera schema.

What each check is called is the `rule` of the finding; the words for the user are made here from the schema.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.numbers import plain
from liftseries.intake.draft.draft import Draft
from liftseries.study.expressions import names_in, null_safe
from liftseries.study.plan_files import PLAN_FILE
from liftseries.study.schema import Column, Rule, Table

IN_RANGE, A_LEVEL, UNIQUE = "value_is_in_range", "value_is_a_level", "key_is_unique"
NEEDED, ALLOWED = "value_is_given_where_needed", "value_is_absent_where_not_allowed"


@dataclass(frozen=True)
class RowCheck:
    """A check across the cells of one row."""

    rule: str
    column: str  # where the finding is told
    reads: tuple[str, ...]
    holds: Callable[[pd.DataFrame], pd.Series]
    message: Callable[[pd.Series], str]  # from the row

    @property
    def name(self) -> str:
        return f"{self.column}: {self.rule}"


def check_rows(draft: Draft) -> None:
    """Finds what is wrong within each row, and rows that repeat a key."""
    if not len(draft):
        return
    failures = _failures(draft)
    whole_rows = {check.name: check for check in row_checks(draft.table)}
    for column, index in failures["of_cells"]:
        found = draft.frame[column][index]
        rule, message = _cell_message(found, draft.table.columns[column])
        draft.find(rule, index, column, message)
    told_missing = set()
    for name, index in failures["of_rows"]:
        if name == UNIQUE:
            continue  # below, once every doubtful key is known
        check = whole_rows[name]
        if not all(draft.sound[column][index] for column in (check.column, *check.reads)):
            continue
        if check.rule == NEEDED and draft.lacks(check.column, index):
            _tell_once(draft, check, index, told_missing)
        else:
            message = check.message(draft.frame.loc[index])
            draft.find(check.rule, index, check.column, message, reads=check.reads)
    _find_repeats(draft, [index for name, index in failures["of_rows"] if name == UNIQUE])


def validator(table: Table):
    """The pandera schema of a table whose cells are read; dtypes are known by then, so it looks at values."""
    import pandera.pandas as pa

    columns = {
        name: pa.Column(None, checks, nullable=True)
        for name, column in table.columns.items()
        if (checks := _cell_checks(pa, column))  # pandera takes its time over each column
    }
    across = [pa.Check(check.holds, name=check.name, ignore_na=False) for check in row_checks(table)]
    across.append(pa.Check(_key_is_unique(table), name=UNIQUE, ignore_na=False))
    return pa.DataFrameSchema(columns, checks=across)


def _cell_checks(pa, column: Column) -> list:
    """Ranges and levels; built-in checks drop their name in the list of failures, but keep their error."""
    checks = []
    if column.type in ("integer", "number") and column.levels:
        checks.append(pa.Check.isin(column.levels, error=A_LEVEL))
    lowest = column.at_least if column.above is None else column.above
    if lowest is not None or column.at_most is not None:
        bounds = {
            "min_value": -np.inf if lowest is None else lowest,
            "max_value": np.inf if column.at_most is None else column.at_most,
        }
        checks.append(pa.Check.in_range(**bounds, include_min=column.above is None, error=IN_RANGE))
    return checks


def row_checks(table: Table) -> list[RowCheck]:
    """The table's rules, and where a value is needed or allowed."""
    checks = [_rule(rule) for rule in table.rules]
    for column in table.columns.values():
        if column.needed_when:
            checks.append(_needed(column))
        if column.allowed_when:
            checks.append(_allowed(column))
    return checks


def _rule(rule: Rule) -> RowCheck:
    def message(row: pd.Series) -> str:
        numbers = {name: plain(row[name]) for name in (rule.column, *rule.reads)}
        return f"{rule.says.format(**numbers)} {rule.do}"

    return RowCheck(rule.rule, rule.column, rule.reads, null_safe(rule.holds), message)


def _needed(column: Column) -> RowCheck:
    reads = names_in(column.needed_when)
    needed = null_safe(column.needed_when, where_unknown=False)
    message = f"empty, but needed here ({column.condition}). Fill it in, or correct {' or '.join(reads)}."
    return RowCheck(
        NEEDED,
        column.name,
        reads,
        lambda table: ~needed(table) | table[column.name].notna(),
        lambda row: message,
    )


def _allowed(column: Column) -> RowCheck:
    reads = names_in(column.allowed_when)
    allowed = null_safe(column.allowed_when)
    message = f"a value where none is allowed ({column.condition}). Clear it, or correct {' or '.join(reads)}."
    return RowCheck(
        ALLOWED,
        column.name,
        reads,
        lambda table: allowed(table) | table[column.name].isna(),
        lambda row: message,
    )


def _key_is_unique(table: Table) -> Callable[[pd.DataFrame], pd.Series]:
    key = list(table.key)
    return lambda rows: ~(rows.duplicated(key) & rows[key].notna().all(axis=1))


def _failures(draft: Draft) -> dict[str, list[tuple[str, int]]]:
    from pandera.errors import SchemaErrors

    found = {"of_cells": [], "of_rows": []}
    try:
        validator(draft.table).validate(draft.masked(), lazy=True)
    except SchemaErrors as errors:
        cases = errors.failure_cases
        if cases["index"].isna().any():
            # Our fault; what pandera says of it would quote cells.
            failed = ", ".join(map(str, cases.loc[cases["index"].isna(), "check"].unique()))
            raise RuntimeError(f"{draft.table.name}: could not run {failed}") from None
        of_cells = cases["schema_context"] == "Column"
        # A failed row check lists every cell of the row: its name and the row are all that we take.
        for kind, part, columns in (
            ("of_cells", cases[of_cells], ["column", "index"]),
            ("of_rows", cases[~of_cells], ["check", "index"]),
        ):
            pairs = part[columns].drop_duplicates().sort_values("index", kind="stable")
            found[kind] = [(name, int(index)) for name, index in pairs.itertuples(index=False)]
    return found


def _cell_message(value: float, column: Column) -> tuple[str, str]:
    number = plain(value)
    if column.levels and value not in column.levels:
        return A_LEVEL, f"{number} is none of {', '.join(map(str, column.levels))}. Correct the cell."
    if column.above is not None and value <= column.above:
        told = f"{number} is not above {plain(column.above)}"
    elif column.at_least is not None and value < column.at_least:
        told = f"{number} is below {plain(column.at_least)}, the lowest that is allowed"
    else:
        told = f"{number} is above {plain(column.at_most)}, the highest that is allowed"
    unit = f"; it is meant in {column.unit}" if column.unit else ""
    return IN_RANGE, f"{told}{unit}. Correct the cell."


def _tell_once(draft: Draft, check: RowCheck, index: int, told: set) -> None:
    """A file without the column has one fault, not one a row."""
    file_no = draft.file_no[index]
    if (file_no, check.column) not in told:
        told.add((file_no, check.column))
        sheet = draft.sheets[file_no]
        condition = draft.table.columns[check.column].condition
        needs = f"row {draft.rows[index]} needs it ({condition})"
        message = f"the column {check.column} is missing, but {needs}. Add it."
        place = sheet.row_place(sheet.header_row)
        draft.find_in_file("column_is_there", file_no, place, message, check.column, len(sheet.header))
    for name in (check.column, *check.reads):
        draft.sound[name][index] = False


def _find_repeats(draft: Draft, indices: list[int]) -> None:
    """Told at the later row; under `set_aside` all go, for which one is right can't be told."""
    key = list(draft.table.key)
    indices = [index for index in indices if all(draft.sound[name][index] for name in key)]
    if not indices:
        return
    keys = draft.masked()[key]
    first = keys[~keys.duplicated()].reset_index().set_index(key)["index"]
    alike = " and ".join(key)
    firsts = {
        index: int(first[tuple(keys.loc[index]) if len(key) > 1 else keys.loc[index, key[0]]]) for index in indices
    }
    _find_in_two_files(draft, firsts, alike)
    for index, other in firsts.items():
        if draft.file_no[index] != draft.file_no[other]:
            continue
        message = f"repeats the key of {draft.row_seen_from(other, index)}; no two rows may have the same {alike}."
        draft.find(UNIQUE, index, key[-1], f"{message} Correct or remove one.", partner=other)
        draft.repeated[[index, other]] = True
    # The first of two alike has no finding, but nothing may be concluded from it either.
    draft.sound[key[-1]][draft.repeated] = False


def _find_in_two_files(draft: Draft, firsts: dict[int, int], alike: str) -> None:
    """Keys that two files share have one cause, so they are one problem; nobody can tell which file is right."""
    pairs: dict[tuple[int, int], list[int]] = {}
    for index, other in firsts.items():
        if draft.file_no[index] != draft.file_no[other]:
            pairs.setdefault((int(draft.file_no[index]), int(draft.file_no[other])), []).append(index)
            draft.repeated[[index, other]] = True
    for (file_no, before), rows in pairs.items():
        sheet, first = draft.sheets[file_no], draft.sheets[before]
        n = f"{len(rows)} rows have" if len(rows) > 1 else "1 row has"
        message = (
            f"{n} the {alike} of a row in {first.shown} (first: row {draft.rows[rows[0]]}, there row "
            f"{draft.rows[firsts[rows[0]]]}). Where ids are unlike only within a file, give it a `prefix` under `files`"
            f" in {PLAN_FILE}; where both hold the same rows, name the file once; else correct the ids."
        )
        draft.find_in_file(UNIQUE, file_no, sheet.shown, message, draft.table.key[-1])
