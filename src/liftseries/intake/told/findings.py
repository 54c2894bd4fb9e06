"""What the checks find: one record a fault, with the place that the user is told."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import attrgetter

import pandas as pd

from liftseries.base.errors import Problem
from liftseries.study.plan_files import file_of

FILE_RULES = ("file_is_there", "file_is_readable")
SET_ASIDE_COLUMNS = ("table", "file", "row", "column", "value_class", "rule", "message")


@dataclass(frozen=True, slots=True)
class Finding:
    """A fault of a cell or row, or of a whole file."""

    table: str
    file: str  # as study.yaml names it
    row: int | None  # as a spreadsheet shows it; None where no row is at fault
    column: str
    value_class: str  # what stood there; never the value
    rule: str
    message: str
    place: str
    order: tuple[int, ...]  # of table, file, row and column, for listing
    index: int | None = None  # row of the stacked table; None where setting a row aside would not mend it
    partner: int | None = None  # another row of the table that is as much at fault, such as the first of two alike

    @property
    def stops_the_run(self) -> bool:
        """No row's fault, or one that must not be carried along in a row set aside, such as an identifier."""
        return self.index is None


class Problems(Sequence[Problem]):
    """Findings, in file order, as problems for the user, each made when it is asked for."""

    def __init__(self, in_file_order: Sequence[Finding]):
        self._findings = in_file_order

    def __len__(self) -> int:
        return len(self._findings)

    def __getitem__(self, at):
        if isinstance(at, slice):
            return [self[one] for one in range(*at.indices(len(self)))]
        return Problem(self._findings[at].place, self._findings[at].message)

    def __repr__(self) -> str:
        return repr(list(self))

    def __eq__(self, other: object) -> bool:
        return list(self) == other

    __hash__ = None


def as_problems(findings: Iterable[Finding]) -> Problems:
    """In file order."""
    return Problems(in_order(findings))


def told_once(findings: Iterable[Finding]) -> list[Finding]:
    """A workbook that can't be read is one fault, however many tables were to come from it."""
    seen: set[tuple[str, str]] = set()
    kept = []
    for finding in findings:
        if finding.rule in FILE_RULES:
            told = (file_of(finding.file), finding.message)
            if told in seen:
                continue
            seen.add(told)
        kept.append(finding)
    return kept


def in_order(findings: Iterable[Finding]) -> list[Finding]:
    return sorted(findings, key=attrgetter("order"))


def as_table(findings: Iterable[Finding], *more: str) -> pd.DataFrame:
    """The contract's columns of set_aside.csv and those named, a row a finding."""
    columns = (*SET_ASIDE_COLUMNS, *more)
    rows = list(map(attrgetter(*columns), in_order(findings)))
    return pd.DataFrame(rows, columns=columns).astype({"row": "Int64"})
