"""The rows that are refused for a fault of their own, as they stand in the study now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from liftseries.intake.books.marks import row_mark
from liftseries.intake.books.trail import sound_corrections
from liftseries.intake.checks.identifiers import screen_words
from liftseries.intake.corrections.lines import Corrections
from liftseries.intake.corrections.rows import mapped_row
from liftseries.intake.draft.draft import Draft
from liftseries.intake.set_aside import DEPENDS, set_aside
from liftseries.intake.study import checked_drafts
from liftseries.intake.told.findings import Finding, in_order, told_once
from liftseries.study.plan import Plan
from liftseries.study.schema import Table


@dataclass(frozen=True)
class RefusedRow:
    """A row with faults of its own, as it stands in the study now; of exact copies the first stands for all."""

    key: str  # what a line of corrections.csv names it by
    file: str
    row: int
    cells: Mapping[str, object]  # column -> raw cell, corrections so far included; columns the file has
    mark: str
    findings: tuple[Finding, ...]
    n_copies: int = 1


@dataclass(frozen=True)
class Refused:
    """What can be corrected cell by cell, and what can't."""

    rows: dict[str, list[RefusedRow]]  # table -> rows, in file order
    elsewhere: list[Finding]  # to be mended in a file or in study.yaml

    @property
    def n_rows(self) -> int:
        return sum(map(len, self.rows.values()))


def refused(plan: Plan) -> tuple[Refused, dict[str, Table]]:
    """The rows that need correction: those with a fault of their own, not those that depend on them.

    Of two rows that contradict each other both are there, for either may be the wrong one.

    Raises
    ------
    StudyError
        corrections.csv has problems, or corrections.key is lost, so that no row could be known again.
    """
    corrections = sound_corrections(plan)
    drafts = checked_drafts(plan, corrections)
    _, lines = set_aside(drafts)
    own = in_order(line for line in lines if line.rule != DEPENDS)
    elsewhere = told_once(finding for draft in drafts.values() for finding in draft.findings if finding.stops_the_run)
    rows: dict[str, dict[str, RefusedRow]] = {}
    for name, draft in drafts.items():
        by_row: dict[int, list[Finding]] = {}
        for finding in own:
            if finding.table == name:
                by_row.setdefault(finding.index, []).append(finding)
        for index, findings in by_row.items():
            row = _row(plan, draft, index, findings, corrections)
            # No value mends a row with a cell too many, nor one whose file lacks the column.
            beyond = [finding for finding in findings if finding.column not in row.cells]
            elsewhere += beyond
            if len(beyond) < len(findings):
                of_table = rows.setdefault(name, {})
                of_table[row.key] = _with_copy(of_table[row.key], row) if row.key in of_table else row
    elsewhere = in_order([*elsewhere, *screen_words(plan)])
    return Refused({name: list(of_table.values()) for name, of_table in rows.items()}, elsewhere), {
        name: draft.table for name, draft in drafts.items()
    }


def _row(plan: Plan, draft: Draft, index: int, findings: Sequence[Finding], corrections: Corrections) -> RefusedRow:
    file_no, row = int(draft.file_no[index]), int(draft.rows[index])
    sheet, header = draft.sheets[file_no], draft.headers[file_no]
    cells = mapped_row(sheet, header, int(index - np.searchsorted(draft.file_no, file_no)))
    as_filed = int(draft.filed_at[index])
    key = draft.filed.address(as_filed)
    return RefusedRow(
        key=key,
        file=sheet.source.told,
        row=row,
        cells={name: cells[name] for name in sorted(cells, key=header.positions.__getitem__)},
        mark=row_mark(plan, draft.filed, as_filed, key, corrections.last),
        findings=tuple(findings),
    )


def _with_copy(row: RefusedRow, copy: RefusedRow) -> RefusedRow:
    told = {(finding.column, finding.message) for finding in row.findings}
    more = tuple(finding for finding in copy.findings if (finding.column, finding.message) not in told)
    return replace(row, findings=row.findings + more, n_copies=row.n_copies + 1)
