"""What forms do to the cells of a column: words, missing values, joins, prefixes. Rows stay as they are.

Every function takes object arrays of raw cells, shape (n_rows,), and looks at each different cell once.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from liftseries.base.numbers import plain
from liftseries.intake.cells.cells import spelled
from liftseries.intake.cells.numbers import in_plain_signs
from liftseries.intake.cells.words import MISSING_SIGNS, all_folded, word_in
from liftseries.intake.files.grid import Absent, is_blank
from liftseries.study.forms import ColumnForm
from liftseries.study.reading import Reading, folded
from liftseries.study.schema import Column

WORD_BESIDE_TOOTH = re.compile(
    r"(?:[^\W\d_]++[.:#]?+\s*+)++([0-9][0-9]|[12]\s*[., ]\s*[4-8])|([0-9][0-9])\s*+(?:[^\W\d_]++\.?+\s*+)++"
)


@dataclass
class Counts:
    """How many cells a form changed: (rule, what stood, what it was taken for) -> cells."""

    of: dict[tuple[str, str, str], int] = field(default_factory=dict)

    def add(self, rule: str, stood: str, taken_for: str, n_cells: int) -> None:
        if n_cells:
            key = (rule, stood, taken_for)
            self.of[key] = self.of.get(key, 0) + int(n_cells)


def blanks(cells: np.ndarray) -> np.ndarray:
    """Which cells hold nothing."""
    codes, distinct = pd.factorize(cells, use_na_sentinel=False)
    return np.array([is_blank(cell) or cell != cell for cell in distinct], dtype=bool)[codes]


def says_nothing(cells: np.ndarray, reading: Reading) -> np.ndarray:
    """Which cells hold nothing, or a word that the study has confirmed to mean that there is none."""
    absent = all_folded((*reading.not_recorded, *reading.not_applicable))
    if not absent:
        return blanks(cells)
    return blanks(cells) | per_distinct(cells, lambda cell: word_in(cell) in absent)[0].astype(bool)


def says_no_value(cells: np.ndarray, column: Column, reading: Reading) -> np.ndarray:
    """The same of a column, some of whose words may be levels of it."""
    levels = [*map(str, column.levels), *(reading.levels.get(column.name, {}))]
    is_level = per_distinct(cells, lambda cell: word_in(cell) in all_folded(tuple(levels)))[0].astype(bool)
    return blanks(cells) | (says_nothing(cells, reading) & ~is_level)


def per_distinct(cells: np.ndarray, take: Callable[[object], object]) -> tuple[np.ndarray, np.ndarray]:
    """The cells, each put through `take`, and which of them it changed; 1, 1.0 and true are different cells."""
    which, distinct = pd.factorize(cells, use_na_sentinel=False)
    if not all(cell is None or isinstance(cell, str) for cell in distinct):
        numbers: dict[tuple[type, object], int] = {}
        which = np.fromiter(
            (numbers.setdefault((type(cell), cell), len(numbers)) for cell in cells), dtype=np.intp, count=len(cells)
        )
        distinct = [cell for _, cell in numbers]
    taken = np.empty(len(distinct), dtype=object)
    changed = np.zeros(len(distinct), dtype=bool)
    for at, cell in enumerate(distinct):
        taken[at] = take(cell)
        changed[at] = taken[at] is not cell
    return taken[which], changed[which]


def meanings(cells: np.ndarray, form: ColumnForm, counts: Counts) -> np.ndarray:
    """Words and then missing values: exact cells, letter case and blanks around them aside."""
    words = {folded(word): value for word, value in form.words.items()}
    absent = all_folded(tuple(form.missing))
    if not words and not absent:
        return cells

    def take(cell: object) -> object:
        word = word_in(cell)
        if word in words:
            return words[word]
        return Absent.SAID if word and word in absent else cell

    taken, changed = per_distinct(cells, take)
    for value in dict.fromkeys(map(str, words.values())):
        hits = sum(cell is not None and str(cell) == value for cell in taken[changed])
        counts.add("word_is_given_a_meaning", "a word that study.yaml gives a meaning", value, hits)
    gone = sum(cell is Absent.SAID for cell in taken[changed])
    counts.add("cell_is_given_as_missing", "a cell that study.yaml calls missing", "missing: not recorded", gone)
    return taken


def joined(pieces: Sequence[np.ndarray], between: str, reading: Reading, counts: Counts) -> np.ndarray:
    """The cells of several columns as one text; empty where one of them is, or says that there is no value."""
    texts = [np.where(says_nothing(piece, reading), None, per_distinct(piece, spelled_or_none)[0]) for piece in pieces]
    result = np.empty(len(pieces[0]), dtype=object)
    result[:] = [None if None in parts else between.join(parts) for parts in zip(*texts, strict=True)]
    n_filled = sum(text is not None for text in result)
    counts.add("cells_are_joined", f"cells of {len(pieces)} columns", "one text", n_filled)
    return result


def spelled_or_none(cell: object) -> str | None:
    return None if is_blank(cell) or cell != cell else spelled(cell)


def without_word(cells: np.ndarray, counts: Counts) -> np.ndarray:
    """`16` of `Regio 16`: a tooth whose cell names it so."""

    def take(cell: object) -> object:
        parts = WORD_BESIDE_TOOTH.fullmatch(in_plain_signs(cell)) if isinstance(cell, str) else None
        return (parts[1] or parts[2]) if parts else cell

    taken, changed = per_distinct(cells, take)
    counts.add("word_beside_a_tooth", "a tooth's number with a word", "the number", changed.sum())
    return taken


def prefixed(cells: np.ndarray, prefix: str, reading: Reading, counts: Counts) -> np.ndarray:
    """Ids as they are unlike those of other centres; a sign for a missing value stays one."""
    absent = all_folded((*reading.not_recorded, *reading.not_applicable, *MISSING_SIGNS))

    def take(cell: object) -> object:
        text = spelled_or_none(cell)
        return cell if text is None or word_in(cell) in absent else f"{prefix}{text}"

    taken, changed = per_distinct(cells, take)
    counts.add("prefix_of_the_centre", "an id", "the id with the file's prefix before it", changed.sum())
    return taken


def text_words(cells: np.ndarray, words: Mapping[str, str], counts: Counts) -> np.ndarray:
    """Words of a text column, such as centre, by `reading.levels`."""
    return meanings(cells, ColumnForm((), words=words), counts)


def filled_empty(cells: np.ndarray, value: object, counts: Counts) -> tuple[np.ndarray, np.ndarray]:
    """Empty cells as what study.yaml says that they mean, and which they are; not those that it calls missing."""
    empty = blanks(cells) & np.array([cell is not Absent.SAID for cell in cells], dtype=bool)
    if not empty.any():
        return cells, empty
    cells = cells.copy()
    cells[empty] = value
    shown = plain(value) if isinstance(value, int | float) else str(value)
    counts.add("empty_means", "an empty cell", shown, empty.sum())
    return cells, empty
