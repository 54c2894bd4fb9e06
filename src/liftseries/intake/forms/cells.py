"""What forms do to the cells of a column: words, missing values, parts, units, joins, takes. Rows stay as they are.

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
from liftseries.intake.cells.numbers import NUMBER, in_plain_signs, number_in, value_class
from liftseries.intake.cells.units import factor_of
from liftseries.intake.cells.words import MISSING_SIGNS, all_folded, word_in
from liftseries.intake.files.grid import Refused, is_blank
from liftseries.study.forms import HIGHEST, LOWEST, ColumnForm
from liftseries.study.reading import Reading, folded
from liftseries.study.schema import Column

PARTS = re.compile(
    r"\s*[Øø⌀∅]?\s*([0-9]+(?:[.,][0-9]+)?)\s*(?:mm)?\s*[/x×X*]\s*[LlØø]?\s*([0-9]+(?:[.,][0-9]+)?)\s*(?:mm)?\s*"
)
WORD_BESIDE_TOOTH = re.compile(
    r"(?:[^\W\d_]+[.:#]?\s*)+([0-9][0-9]|[12]\s*[., ]\s*[4-8])|([0-9][0-9])\s*(?:[^\W\d_]+\.?\s*)+"
)
FIGURES = 12  # of a converted number, so that 0.57 cm are 5.7 mm and not 5.699999999999999


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
        return None if word and word in absent else cell

    taken, changed = per_distinct(cells, take)
    for value in dict.fromkeys(map(str, words.values())):
        hits = sum(cell is not None and str(cell) == value for cell in taken[changed])
        counts.add("word_is_given_a_meaning", "a word that study.yaml gives a meaning", value, hits)
    gone = sum(cell is None for cell in taken[changed])
    counts.add("cell_is_given_as_missing", "a cell that study.yaml calls missing", "missing: not recorded", gone)
    return taken


def joined(pieces: Sequence[np.ndarray], between: str, counts: Counts) -> np.ndarray:
    """The cells of several columns as one text; empty where one of them is."""
    texts = [per_distinct(piece, spelled_or_none)[0] for piece in pieces]
    result = np.empty(len(pieces[0]), dtype=object)
    result[:] = [None if None in parts else between.join(parts) for parts in zip(*texts, strict=True)]
    n_filled = sum(text is not None for text in result)
    counts.add("cells_are_joined", f"cells of {len(pieces)} columns", "one text", n_filled)
    return result


def spelled_or_none(cell: object) -> str | None:
    return None if is_blank(cell) or cell != cell else spelled(cell)


def one_of(pieces: Sequence[np.ndarray], take: str, column: Column, counts: Counts) -> np.ndarray:
    """The lowest, highest or mean of several columns; where one is empty, what the others give."""
    read = [per_distinct(piece, lambda cell: _numeric(cell, column))[0] for piece in pieces]
    refused = [cell for cells in read for cell in cells if isinstance(cell, Refused)]
    values = np.array(
        [[np.nan if cell is None or isinstance(cell, Refused) else cell for cell in cells] for cells in read],
        dtype=float,
    )
    filled = ~np.isnan(values)
    some = filled.any(axis=0)
    result = np.empty(values.shape[1], dtype=object)
    if take in (LOWEST, HIGHEST):
        pick = np.fmin.reduce(values) if take == LOWEST else np.fmax.reduce(values)
    else:
        pick = np.where(some, np.nansum(values, axis=0) / np.maximum(filled.sum(axis=0), 1), np.nan)
    result[some] = [_rounded(number) for number in pick[some]]
    if refused:
        for cells in read:
            for at in np.flatnonzero([isinstance(cell, Refused) for cell in cells]):
                result[at] = cells[at]
    counts.add("one_of_several_columns", f"numbers in {len(pieces)} columns", f"the {take}", filled.all(axis=0).sum())
    of_fewer = (some & ~filled.all(axis=0)).sum()
    counts.add("one_of_several_columns", "a number in one column, none in another", "that number", of_fewer)
    return result


def _numeric(cell: object, column: Column) -> object:
    if is_blank(cell) or cell != cell:
        return None
    if (number := number_in(cell)) is not None:
        return number
    parts = re.fullmatch(rf"({NUMBER.pattern})\s*(\D+)", cell.strip()) if isinstance(cell, str) else None
    if parts and factor_of(column, parts[2]) == 1:
        return number_in(parts[1])
    if isinstance(cell, Refused):
        return cell
    message = "no number, where one of several columns is to be taken. Correct the cell, or name it under `missing`."
    return Refused("value_is_a_number", message, value_class(cell), cell)


def _rounded(number: float) -> float | int:
    number = float(f"{number:.{FIGURES}g}")
    return int(number) if number.is_integer() and abs(number) < 2**53 else number


def part_of(cells: np.ndarray, part: int, counts: Counts) -> np.ndarray:
    """The first or second number of `4,2/8`, `4.2x8` or `Ø 4.2 x 8 mm`; anything else is refused."""
    message = "not two numbers with / or x between them. Correct the cell, or name it under `words` or `missing`."

    def take(cell: object) -> object:
        if is_blank(cell) or isinstance(cell, Refused):
            return cell
        parts = PARTS.fullmatch(in_plain_signs(cell)) if isinstance(cell, str) else None
        return parts[part] if parts else Refused("cell_has_two_parts", message, value_class(cell), cell)

    taken, changed = per_distinct(cells, take)
    right = sum(not isinstance(cell, Refused) for cell in taken[changed])
    counts.add("part_of_a_cell", "two numbers in a cell", f"the {'first' if part == 1 else 'second'}", right)
    return taken


def in_unit(cells: np.ndarray, unit: str, column: Column, counts: Counts) -> np.ndarray:
    """Numbers of the file's unit as those of the column's; a cell that names its own unit stays for the reader."""
    factor = factor_of(column, unit)
    if factor == 1:
        return cells

    def take(cell: object) -> object:
        number = number_in(cell)
        if number is None and isinstance(cell, str):
            with_unit = re.fullmatch(rf"({NUMBER.pattern})\s*(\D.*)", in_plain_signs(cell))
            if with_unit and factor_of(column, with_unit[2]) == factor:
                number = number_in(with_unit[1])
        return cell if number is None or not np.isfinite(number) else _rounded(number * factor)

    taken, changed = per_distinct(cells, take)
    counts.add("unit_of_the_file", f"a number in {unit}", f"the same in {column.unit}", changed.sum())
    return taken


def with_decimal_mark(cells: np.ndarray, mark: str) -> np.ndarray:
    """Texts of numbers whose mark study.yaml names; the other mark before three digits may be one for thousands."""
    other = "." if mark == "," else ","
    thousands = re.compile(rf"[+-]?[0-9]{{1,3}}\{other}[0-9]{{3}}")
    kind = "point" if other == "." else "comma"
    message = f"a {kind} before three digits, in a file with the other decimal mark. Enter the number without it."

    def take(cell: object) -> object:
        if not isinstance(cell, str):
            return cell
        text = in_plain_signs(cell)
        if thousands.fullmatch(text):
            return Refused("decimal_mark_is_clear", message, "number", cell)
        if mark in text and NUMBER.fullmatch(text):
            return float(text.replace(",", "."))
        return cell

    return per_distinct(cells, take)[0]


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


def filled_empty(cells: np.ndarray, value: object, counts: Counts) -> np.ndarray:
    """Empty cells as what study.yaml says that they mean."""
    empty = blanks(cells)
    if not empty.any():
        return cells
    cells = cells.copy()
    cells[empty] = value
    shown = plain(value) if isinstance(value, int | float) else str(value)
    counts.add("empty_means", "an empty cell", shown, empty.sum())
    return cells
