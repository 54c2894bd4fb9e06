"""A fault of a row of a draft. Of hundreds of thousands few are shown, so where it stood is worked out when asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from liftseries.intake.cells.numbers import value_class
from liftseries.study.schema import EVERY_TABLE

if TYPE_CHECKING:
    from liftseries.intake.draft.draft import Draft


class RowFinding:
    """A `Finding` of one row; what it needs of its draft stands there from `stack` on and changes no more.

    Parameters
    ----------
    draft
    rule, index, column, message, partner : as of `Finding`; `column` is empty where the whole row is meant
    """

    __slots__ = ("_draft", "column", "file", "index", "message", "partner", "rule", "table")
    stops_the_run = False

    def __init__(self, draft: Draft, rule: str, index: int, column: str, message: str, partner: int | None = None):
        self._draft, self.rule, self.column, self.message = draft, rule, column, message
        self.index, self.partner = int(index), None if partner is None else int(partner)
        self.table, self.file = draft.table.name, draft.sheets[draft.file_no[index]].source.told

    @property
    def row(self) -> int:
        return int(self._draft.rows[self.index])

    @property
    def value_class(self) -> str:
        return value_class(self._draft.raw[self.column][self.index]) if self.column else "text"

    @property
    def place(self) -> str:
        draft = self._draft
        return draft.cell_place(self.index, self.column) if self.column else draft.row_place(self.index)

    @property
    def order(self) -> tuple[int, ...]:
        draft, file_no = self._draft, int(self._draft.file_no[self.index])
        position = draft.headers[file_no].positions.get(self.column)
        if position is None:
            position = len(draft.sheets[file_no].header) if self.column else -1
        return EVERY_TABLE.index(draft.table.name), file_no, self.row, position
