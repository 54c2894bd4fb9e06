"""Schema to validators: ranges and levels of a table's columns as pandera columns, key and row rules.

What each check is called is the `rule` of the finding; the words for the user are made here from the schema.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

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
    message: Callable[[Mapping[str, Any]], str]  # from the cells that it reads


def check_rows(draft: Draft) -> None:
    """Finds what is wrong within each row, and rows that repeat a key."""
    if not len(draft):
        return
    table = draft.masked()
    for name, schema in validators(draft.table).items():
        values = table[name].dropna()
        # Asked one by one: pandera's list of failures takes five times as long as reading.
        passed = np.logical_and.reduce([check(values).check_output.to_numpy(bool) for check in schema.checks])
        for index, value in values[~passed].items():
            rule, message = _cell_message(value, draft.table.columns[name])
            draft.find(rule, index, name, message)
    told_missing = set()
    for check in row_checks(draft.table):
        _check_across_cells(draft, check, np.flatnonzero(~check.holds(table).to_numpy(bool)), told_missing)
    key = list(draft.table.key)
    _find_repeats(draft, np.flatnonzero(table.duplicated(key).to_numpy() & draft.known(*key)))


def _check_across_cells(draft: Draft, check: RowCheck, failed: np.ndarray, told_missing: set) -> None:
    """`failed`: the rows in which the check does not hold; those with a cell that is unsound by now are passed over."""
    if not len(failed):
        return
    columns = [check.column, *check.reads]
    failed = failed[np.logical_and.reduce([draft.sound[name][failed] for name in columns])]
    for index, row in zip(failed, draft.frame[columns].iloc[failed].to_dict("records"), strict=True):
        if check.rule == NEEDED and draft.lacks(check.column, index):
            _tell_once(draft, check, index, told_missing)
        else:
            draft.find(check.rule, index, check.column, check.message(row), reads=check.reads)


def validators(table: Table) -> dict[str, Any]:
    """The pandera columns of a table whose cells have a range or levels; dtypes are known by then."""
    found = {name: _validator(column) for name, column in table.columns.items()}
    return {name: of_column for name, of_column in found.items() if of_column is not None}


@cache  # pandera takes its time over each column
def _validator(column: Column):
    """None where it has neither; built-in checks drop their name in the list of failures, but keep their error."""
    import pandera.pandas as pa

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
    return pa.Column(None, checks, nullable=True) if checks else None


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
    def message(row: Mapping[str, Any]) -> str:
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
        message = f"a column is missing: {check.column}; {needs}. Add it."
        place = sheet.row_place(sheet.header_row)
        draft.find_in_file("column_is_there", file_no, place, message, check.column, len(sheet.header))
    for name in (check.column, *check.reads):
        draft.sound[name][index] = False


def _find_repeats(draft: Draft, indices: np.ndarray) -> None:
    """Told at the later row; under `set_aside` all go, for which one is right can't be told."""
    if not len(indices):
        return
    key = list(draft.table.key)
    numbered = draft.masked().groupby(key, sort=False, observed=True, dropna=False).ngroup().to_numpy()
    _, first, which = np.unique(numbered, return_index=True, return_inverse=True)
    alike = " and ".join(key)
    firsts = dict(zip(indices.tolist(), first[which[indices]].tolist(), strict=True))
    _find_in_two_files(draft, firsts, alike)
    for index, other in firsts.items():
        if draft.file_no[index] != draft.file_no[other]:
            continue
        message = f"repeats the key of {draft.row_seen_from(other, index)}; no two rows may have the same {alike}."
        draft.find(UNIQUE, index, key[-1], f"{message} Correct or remove one.", partner=other)
    draft.repeated[[*firsts, *firsts.values()]] = True
    # The first of two alike has no finding, but nothing may be concluded from it either.
    draft.sound[key[-1]][draft.repeated] = False


def _find_in_two_files(draft: Draft, firsts: dict[int, int], alike: str) -> None:
    """Keys that two files share have one cause, so they are one problem; nobody can tell which file is right."""
    pairs: dict[tuple[int, int], list[int]] = {}
    for index, other in firsts.items():
        if draft.file_no[index] != draft.file_no[other]:
            pairs.setdefault((int(draft.file_no[index]), int(draft.file_no[other])), []).append(index)
    for (file_no, before), rows in pairs.items():
        sheet, first = draft.sheets[file_no], draft.sheets[before]
        n = f"{len(rows)} rows have" if len(rows) > 1 else "1 row has"
        message = (
            f"{n} the {alike} of a row in {first.shown} (first: row {draft.rows[rows[0]]}, there row "
            f"{draft.rows[firsts[rows[0]]]}). Where ids are unlike only within a file, give it a `prefix` under `files`"
            f" in {PLAN_FILE}; where both hold the same rows, name the file once; else correct the ids."
        )
        draft.find_in_file(UNIQUE, file_no, sheet.shown, message, draft.table.key[-1])
