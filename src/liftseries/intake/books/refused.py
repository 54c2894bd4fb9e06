"""The rows that are refused for a fault of their own, as they stand in the study now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from liftseries.intake.checks.identifiers import screen_words
from liftseries.intake.corrections.fingerprint import fingerprint, raw_row
from liftseries.intake.corrections.lines import read_corrections
from liftseries.intake.draft.draft import Draft
from liftseries.intake.set_aside import DEPENDS, set_aside
from liftseries.intake.study import checked_drafts
from liftseries.intake.told.findings import Finding, in_order, told_once
from liftseries.study.plan import Plan
from liftseries.study.schema import Table

MARK_LENGTH = 16  # digits of the fingerprint that are shown; enough to tell rows apart


@dataclass(frozen=True)
class RefusedRow:
    """A row with faults of its own, as it stands in the study now."""

    file: str
    row: int
    cells: Mapping[str, object]  # column -> raw cell, corrections so far included; columns the file has
    fingerprint: str
    findings: tuple[Finding, ...]


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
    """
    corrections = read_corrections(plan)
    drafts = checked_drafts(plan, corrections)
    _, lines = set_aside(drafts)
    own = in_order(line for line in lines if line.rule != DEPENDS)
    elsewhere = told_once(finding for draft in drafts.values() for finding in draft.findings if finding.stops_the_run)
    rows: dict[str, list[RefusedRow]] = {}
    for name, draft in drafts.items():
        by_row: dict[int, list[Finding]] = {}
        for finding in own:
            if finding.table == name:
                by_row.setdefault(finding.index, []).append(finding)
        for index, findings in by_row.items():
            row = _row(draft, index, findings)
            # No value mends a row with a cell too many, nor one whose file lacks the column.
            beyond = [finding for finding in findings if finding.column not in row.cells]
            elsewhere += beyond
            if len(beyond) < len(findings):
                rows.setdefault(name, []).append(row)
    elsewhere = in_order([*elsewhere, *corrections.findings, *screen_words(plan)])
    return Refused(rows, elsewhere), {name: draft.table for name, draft in drafts.items()}


def _row(draft: Draft, index: int, findings: Sequence[Finding]) -> RefusedRow:
    file_no, row = int(draft.file_no[index]), int(draft.rows[index])
    sheet, header = draft.sheets[file_no], draft.headers[file_no]
    cells = raw_row(sheet, int(np.searchsorted(sheet.rows, row)))
    readable = sorted(filter(header.can_be_read, header.positions), key=header.positions.__getitem__)
    return RefusedRow(
        file=sheet.source.label,
        row=row,
        cells={name: cells[header.positions[name]] for name in readable},
        fingerprint=fingerprint(sheet, cells)[:MARK_LENGTH],
        findings=tuple(findings),
    )
