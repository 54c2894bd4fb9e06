"""The rows of a table as its files hold them before corrections, and what each is known by: its key, in no file.

A row whose key cannot be read, or that shares it with a row that is no copy, is known by the keyed hash of its cells.
Numbers compare as numbers, levels without letter case, everything else as it stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from liftseries.base.numbers import plain
from liftseries.intake.cells.numbers import ONE_MARK_THREE_DIGITS, in_plain_signs, number_in
from liftseries.intake.corrections.fingerprint import as_text
from liftseries.intake.corrections.secret import keyed_hash
from liftseries.intake.files.headers import Header
from liftseries.intake.files.sheet import Sheet
from liftseries.study.schema import Column, Table

BETWEEN = " | "  # parts of a key
BY_HASH = "row:"


def canonical(cell: object, column: Column) -> str:
    """A raw cell as the text by which it is compared: 5,2 and 5.20 are the same number, Yes and yes the same level.

    A mark before three digits may be one for thousands, so `1.200` stays as it is.
    """
    if column.type in ("number", "integer"):
        number = number_in(cell)
        unclear = isinstance(cell, str) and ONE_MARK_THREE_DIGITS.fullmatch(in_plain_signs(cell))
        if number is not None and abs(number) < np.inf and not unclear:
            return plain(number + 0.0)
    text = as_text(cell)
    return text.casefold() if column.type == "category" else text


def mapped_row(sheet: Sheet, header: Header, at: int) -> dict[str, object]:
    """Column -> raw cell of one row by its position in the sheet; the columns that its file has."""
    return {
        name: sheet.columns[position][at] for name, position in header.positions.items() if header.can_be_read(name)
    }


@dataclass(frozen=True)
class Filed:
    """A table's files as they were read, hidden rows settled, before any correction.

    Attributes
    ----------
    table
    sheets, headers : by number of the file
    secret : the study's key; None where it has none, and no row is known by its hash
    """

    table: Table
    sheets: dict[int, Sheet]
    headers: dict[int, Header]
    secret: bytes | None = None

    @cached_property
    def file_no(self) -> np.ndarray:
        """Shape (n_rows,): the file of each row, all files stacked."""
        return np.concatenate([np.zeros(0, int), *(np.full(len(s.rows), no) for no, s in self.sheets.items())])

    @cached_property
    def at(self) -> np.ndarray:
        """Shape (n_rows,): the position of each row in its sheet."""
        return np.concatenate([np.zeros(0, int), *(np.arange(len(sheet.rows)) for sheet in self.sheets.values())])

    @cached_property
    def _index(self) -> dict[tuple[int, int], int]:
        rows = [(no, int(row)) for no, sheet in self.sheets.items() for row in sheet.rows]
        return {place: index for index, place in enumerate(rows)}

    def index(self, file_no: int, row: int) -> int | None:
        """The row by its file and the number that a spreadsheet shows; None where it is not there."""
        return self._index.get((int(file_no), int(row)))

    def sheet(self, index: int) -> Sheet:
        return self.sheets[int(self.file_no[index])]

    def row(self, index: int) -> int:
        """The row's number as a spreadsheet shows it."""
        return int(self.sheet(index).rows[self.at[index]])

    def has(self, index: int, column: str) -> bool:
        """Whether the row's file has the column, once and under its name."""
        return self.headers[int(self.file_no[index])].can_be_read(column)

    def cells(self, index: int) -> dict[str, object]:
        """The row as column -> raw cell."""
        file_no = int(self.file_no[index])
        return mapped_row(self.sheets[file_no], self.headers[file_no], int(self.at[index]))

    def place(self, index: int, column: str) -> str:
        position = self.headers[int(self.file_no[index])].positions.get(column)
        return self.sheet(index).place(self.row(index), column, position, int(self.at[index]))

    def row_place(self, index: int) -> str:
        return self.sheet(index).row_place(self.row(index))

    # ── what a row is known by ──────────────────────────────────────────────────────────────────

    def texts(self, column: str) -> list[str]:
        """Each row's cell as it is compared; empty where the file has no such column."""
        of_column = self.table.columns[column]
        texts: list[str] = []
        for no, sheet in self.sheets.items():
            header = self.headers[no]
            if header.can_be_read(column):
                texts += [canonical(cell, of_column) for cell in sheet.columns[header.positions[column]]]
            else:
                texts += [""] * len(sheet.rows)
        return texts

    @cached_property
    def keys(self) -> list[str]:
        """Each row's key, empty where a part of it is missing."""
        return [key_text(parts) for parts in zip(*map(self.texts, self.table.key), strict=True)]

    @cached_property
    def by_key(self) -> dict[str, list[int]]:
        return _numbered(enumerate(self.keys))

    def text(self, index: int) -> list[list[str]]:
        """The row's filled cells as they are compared, with their columns, sorted."""
        named = ((name, canonical(cell, self.table.columns[name])) for name, cell in self.cells(index).items())
        return [[name, text] for name, text in sorted(named) if text]

    def are_copies(self, indices: Sequence[int]) -> bool:
        first = self.text(indices[0])
        return all(self.text(index) == first for index in indices[1:])

    def are_one(self, indices: Sequence[int]) -> bool:
        """One row, or exact copies of one that has a key."""
        return len(indices) == 1 or bool(self.keys[indices[0]] and self.are_copies(indices))

    def has_own_key(self, index: int) -> bool:
        """Whether the key names this row, and at most copies of it."""
        return bool(self.keys[index]) and self.are_one(self.by_key[self.keys[index]])

    def address(self, index: int) -> str:
        """What a line of corrections.csv names the row by."""
        return self.keys[index] if self.has_own_key(index) else self._hash(index)

    def found(self, key: str) -> list[int]:
        """The rows that a line's key names."""
        if key in self.by_key or not key.startswith(BY_HASH) or self.secret is None:
            return self.by_key.get(key, [])
        return self._by_hash.get(key, [])

    def _hash(self, index: int) -> str:
        return BY_HASH + keyed_hash(self.secret, self.table.name, self.text(index))

    @cached_property
    def _by_hash(self) -> dict[str, list[int]]:
        several = {index for indices in self.by_key.values() if len(indices) > 1 for index in indices}
        without = (index for index, key in enumerate(self.keys) if not key or index in several)
        return _numbered((index, self._hash(index)) for index in without)


def key_text(parts: Sequence[str]) -> str:
    """A key's parts as one text; empty where one of them is."""
    return BETWEEN.join(part.replace("|", "||") for part in parts) if all(parts) else ""


def _numbered(named) -> dict[str, list[int]]:
    """Text -> the numbers that bear it, in order; those without a text left out."""
    numbers: dict[str, list[int]] = {}
    for index, text in named:
        if text:
            numbers.setdefault(text, []).append(index)
    return numbers
