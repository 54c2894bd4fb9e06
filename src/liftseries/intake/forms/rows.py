"""What forms do to rows: which of a file's belong to a table, groups of columns to a row each, one row a key."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from liftseries.intake.cells.cells import read_cell, spelled
from liftseries.intake.cells.columns import value_of
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.cells.words import all_folded, word_in
from liftseries.intake.files.grid import Refused, is_blank
from liftseries.intake.forms.cells import per_distinct, says_no_value, says_nothing
from liftseries.study.reading import Reading, folded
from liftseries.study.schema import Column, Table


def rows_named(cells: Sequence[np.ndarray], words: Sequence[Sequence[str]], n_rows: int) -> np.ndarray:
    """Which rows have one of the words in each of the columns, shape (n_rows,)."""
    chosen = np.ones(n_rows, dtype=bool)
    for column, meant in zip(cells, words, strict=True):
        known = all_folded(tuple(meant))
        chosen &= per_distinct(column, lambda cell, known=known: word_in(cell) in known)[0].astype(bool)
    return chosen


def words_without_rows(cells: np.ndarray, words: Sequence[str]) -> list[str]:
    """Those of the words that stand in none of the cells."""
    there = set(per_distinct(cells, word_in)[0])
    return [word for word in words if folded(word) not in there]


def key_texts(columns: Mapping[str, np.ndarray], table: Table) -> list[tuple] | None:
    """A row's key as it is compared: numbers as numbers, the rest as texts; None where a part is empty."""
    if any(name not in columns for name in table.key):
        return None
    parts = []
    for name in table.key:
        is_number = table.columns[name].type in ("number", "integer")

        def part(cell: object, is_number: bool = is_number) -> object:
            if is_blank(cell):
                return None
            number = number_in(cell) if is_number else None
            return number if number is not None else spelled(cell)

        parts.append(per_distinct(columns[name], part)[0])
    return list(zip(*parts, strict=True))


def one_row_a_key(
    columns: dict[str, np.ndarray],
    table: Table,
    keys: list[tuple],
    repeated: Mapping[str, str],
    rows: np.ndarray,
    reading: Reading,
) -> tuple[np.ndarray, dict[str, np.ndarray], int]:
    """One row of those that have the same key; cells that contradict each other are refused.

    Parameters
    ----------
    columns : of the table, shape (n_rows,) each
    table
    keys : of each row, see `key_texts`; a row without one stays
    repeated : column -> first, last
    rows : the rows' numbers in the file
    reading : a word for a missing value is as good as an empty cell, and cells compare as the levels that they mean

    Returns
    -------
    kept : the rows that stay, by position
    columns : of the rows that stay
    n_filled : cells that were empty in the row that stays and are taken from another of its key
    """
    of_key: dict[object, int] = {}
    which = np.fromiter(
        (of_key.setdefault(key if None not in key else ("", at), len(of_key)) for at, key in enumerate(keys)),
        dtype=np.intp,
        count=len(keys),
    )
    if len(of_key) == len(keys):
        return np.arange(len(keys)), columns, 0
    kept = np.full(len(of_key), -1, dtype=np.intp)
    kept[which[::-1]] = np.arange(len(keys))[::-1]
    result, n_filled = {}, 0
    for name, cells in columns.items():
        empty = says_no_value(cells, table.columns[name], reading)
        filled, worded = np.flatnonzero(~empty), np.flatnonzero(empty & np.array([c is not None for c in cells]))
        ends = repeated.get(name, "")
        chosen = np.full(len(of_key), -1, dtype=np.intp)
        for order in (worded, filled):  # the last written holds: a value, of the first row or the last
            order = order if ends == "last" else order[::-1]
            chosen[which[order]] = order
        column = np.empty(len(of_key), dtype=object)
        there = chosen >= 0
        column[there] = cells[chosen[there]]
        n_filled += int((chosen[there] != kept[there]).sum())
        if not ends and name not in table.key:
            _refuse_contradictions(column, cells, filled, chosen, which, table.columns[name], rows, reading)
        result[name] = column
    return kept, result, n_filled


def _refuse_contradictions(
    column: np.ndarray,
    cells: np.ndarray,
    filled: np.ndarray,
    chosen: np.ndarray,
    which: np.ndarray,
    of: Column,
    rows: np.ndarray,
    reading: Reading,
) -> None:
    """What stands there is the set of all that the rows say, in whatever order the file has them."""
    texts, _ = per_distinct(cells, lambda cell: _compared(cell, of, reading))
    unlike = filled[texts[filled] != texts[chosen[which[filled]]]]
    told: dict[int, int] = {}
    for at in unlike.tolist():
        told.setdefault(int(which[at]), at)
    stood: dict[int, set[str]] = {key: set() for key in told}
    for at in filled[np.isin(which[filled], list(told))].tolist():
        stood[int(which[at])].add(str(texts[at]))
    for key, at in told.items():
        message = (
            f"row {rows[at]} has the same key and another {of.name}. Correct one of the two, or write "
            "`repeated: first` or `repeated: last` at this column, under `columns`."
        )
        column[key] = Refused("rows_of_a_key_agree", message, "text", " / ".join(sorted(stood[key])))


def _compared(cell: object, of: Column, reading: Reading) -> object:
    if of.type != "text" and (value := value_of(read_cell(cell, of, reading))) is not None:
        return value
    number = number_in(cell)
    return number if number is not None else word_in(cell) if isinstance(cell, str) else str(cell)


def nothing_of_its_own(
    columns: Mapping[str, np.ndarray], table: Table, constant: Sequence[str], reading: Reading, n: int
) -> np.ndarray:
    """Rows of the file in which nothing is said under the table's columns but references to other tables."""
    empty = np.ones(n, dtype=bool)
    for name, cells in columns.items():
        if name not in table.references and name not in constant:
            empty &= says_nothing(cells, reading)
    return empty
