"""What a row of a correction workbook is known again by: its study, the last line so far, its cells as filed."""

from __future__ import annotations

import re
from typing import NamedTuple

from liftseries.intake.corrections.rows import Filed
from liftseries.intake.corrections.secret import keyed_hash
from liftseries.study.plan import Plan

STUDY_DIGITS, ROW_DIGITS = 8, 16
MARK = re.compile(rf"([0-9a-f]{{{STUDY_DIGITS}}})-([0-9]{{1,9}})-([0-9a-f]{{{ROW_DIGITS}}})")


class Mark(NamedTuple):
    """The parts of a mark."""

    study: str
    last_line: int  # of corrections.csv when the workbook was written
    row: str


def study_mark(plan: Plan, secret: bytes) -> str:
    """Another study has another, also where it bears the same id."""
    return keyed_hash(secret, "study", plan.study_id)[:STUDY_DIGITS]


def row_mark(plan: Plan, filed: Filed, index: int, key: str, last_line: int) -> str:
    """The mark of a row; another where a cell of its file has changed.

    Parameters
    ----------
    plan
    filed : the row's table, with the study's key
    index : of the row
    key : what the workbook names the row by
    last_line : of corrections.csv at the time
    """
    of_row = keyed_hash(filed.secret, "mark", filed.table.name, key, last_line, filed.text(index))[:ROW_DIGITS]
    return f"{study_mark(plan, filed.secret)}-{last_line}-{of_row}"


def parsed(text: str) -> Mark | None:
    """The parts of a mark; None where it is none."""
    found = MARK.fullmatch(text)
    return Mark(found[1], int(found[2]), found[3]) if found else None
