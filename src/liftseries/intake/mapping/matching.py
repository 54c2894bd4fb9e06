"""A file's headers compared with the dictionary: by name, unit in brackets, and what the cells look like.

**Certain** is a header that the dictionary or `schemas/header_words.yaml` calls by that column's name alone, whose unit
and cells are of its kind, and that is no other column's of the table. Names that are only alike, and cells that look
like those of a column, are questions.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from liftseries.intake.cells.numbers import in_plain_signs, number_in
from liftseries.intake.cells.units import factor_of
from liftseries.intake.cells.words import level_meant, missing_word, word_in
from liftseries.intake.files.grid import is_blank
from liftseries.intake.forms.cells import WORD_BESIDE_TOOTH
from liftseries.intake.mapping.header_words import (
    at_months,
    bare,
    heads,
    is_qualified,
    months_of,
    possible_names,
    sure_names,
    unit_of,
)
from liftseries.study.schema import Column, Table

CERTAIN, LIKELY = 1.0, 0.72  # of a name's likeness to what the column is called
ALIKE = 0.94  # what names that are only alike come to at most
OF_THE_KIND = 0.8  # share of the filled cells that the column could hold
LOOKED_AT = 500  # different cells of a column
MOST_SHAPE = 14  # characters
SAY_LITTLE = {"yes", "no", "unknown", "none", "other", "mixed"}  # levels of many columns
FEWEST_TEETH = 3  # different ones, for numbers to look like teeth


@dataclass(frozen=True)
class FileColumn:
    """One column of a file: its name, and the different cells that it holds."""

    name: str
    cells: tuple[object, ...]  # filled and different, at most LOOKED_AT
    n_filled: int
    in_group: bool = False  # its name begins with that of a group of columns
    rows: np.ndarray = field(default_factory=lambda: np.empty(0, object), compare=False, repr=False)  # all its cells

    @property
    def unit(self) -> str:
        return unit_of(self.name)

    @property
    def shape(self) -> str:
        """What most cells look like: `9,9`, `AA99`."""
        shapes = Counter(shape_of(cell) for cell in self.cells)
        return min(shapes, key=lambda shape: (-shapes[shape], shape)) if shapes else "empty"


def file_column(name: str, cells: np.ndarray, in_group: bool = False) -> FileColumn:
    """A column of a file by its name and raw cells, shape (n_rows,)."""
    filled = [cell for cell in cells.tolist() if not is_blank(cell) and cell == cell]
    different = dict.fromkeys((type(cell), cell) for cell in filled)
    return FileColumn(name, tuple(cell for _, cell in list(different)[:LOOKED_AT]), len(filled), in_group, cells)


def shape_of(cell: object) -> str:
    """Digits as 9, capitals as A, other letters as a; never the text itself."""
    text = in_plain_signs(cell) if isinstance(cell, str) else str(cell)
    marks = {"L": "a", "N": "9", "Z": " "}
    signs = ["A" if sign.isupper() else marks.get(unicodedata.category(sign)[0], sign) for sign in text[:60]]
    shape = re.sub(r"(.)\1{4,}", r"\1…", "".join(signs))
    return shape if len(shape) <= MOST_SHAPE else f"{shape[: MOST_SHAPE - 1]}…"


def likeness_of(found: FileColumn, column: Column) -> tuple[float, bool]:
    """How much a column of a file is what one of the dictionary is called, and whether its name means that one alone.

    Under a group's name the column's own may stand alone, where that group heads such columns; else that is a question.
    """
    like, is_sure = likeness(found.name, column)
    words = found.name.split() if found.in_group else []
    for at in range(1, len(words)):
        part, is_sure_part = likeness(" ".join(words[at:]), column)
        is_sure_part = is_sure_part and heads(" ".join(words[:at]), column)
        like, is_sure = max((like, is_sure), (part, is_sure_part), key=lambda one: (one[1], one[0]))
    return like, is_sure


@lru_cache(100_000)  # of each header and column it is asked for table by table, and file by file
def likeness(name: str, column: Column) -> tuple[float, bool]:
    """How much a header is what a column is called, 0 to 1, and whether it means that column alone."""
    called = bare(name)
    if called in sure_names(column):
        return CERTAIN, True
    if called in possible_names(column):
        return CERTAIN, False
    highest = 0.0
    for word in sure_names(column) | possible_names(column):
        alike = difflib.SequenceMatcher(None, called, word)
        if alike.real_quick_ratio() > highest and alike.quick_ratio() > highest:  # upper bounds
            highest = max(highest, alike.ratio())
    return ALIKE * highest, False


def could_hold(found: FileColumn, column: Column) -> float:
    """Share of a column's different cells that the dictionary's column could hold, as they are or by a form."""
    if not found.cells:
        return 1.0
    return sum(_could_be(cell, column, found.unit) for cell in found.cells) / len(found.cells)


def _could_be(cell: object, column: Column, unit: str) -> bool:
    if missing_word(cell, column):
        return True
    if column.type == "text":
        return isinstance(cell, str | int | float)
    if column.type == "category":
        return word_in(cell) in map(str.casefold, map(str, column.levels)) or bool(level_meant(cell, column)[0])
    if column.notation and isinstance(cell, str) and WORD_BESIDE_TOOTH.fullmatch(in_plain_signs(cell)):
        return True
    number = number_in(cell)
    if number is None:
        return False
    number *= factor_of(column, unit) or 1
    if column.levels:
        return number in column.levels
    lowest = column.at_least if column.above is None else column.above
    return (lowest is None or number >= lowest) and (column.at_most is None or number <= column.at_most)


def _has_another_unit(found: FileColumn, column: Column, every: Mapping[str, Column]) -> bool:
    """Whether the header's unit is one of other columns and none of this one."""
    unit = found.unit
    return bool(unit) and factor_of(column, unit) is None and any(factor_of(of, unit) for of in every.values())


def looks_like(found: FileColumn, column: Column) -> bool:
    """Whether cells alone make a column a candidate: teeth, or levels that few columns have."""
    if len(found.cells) < 2 or could_hold(found, column) < OF_THE_KIND:
        return False
    if column.notation:
        return len(found.cells) >= FEWEST_TEETH
    own = {str(level) for level in column.levels} - SAY_LITTLE
    if column.type != "category" or not own:
        return False
    seen = {level_meant(cell, column)[1] or word_in(cell) for cell in found.cells}
    return len(seen & own) >= 2


@dataclass(frozen=True)
class Match:
    """A header for a column; `certain` where it needs no question."""

    header: str
    score: float
    certain: bool


def matches(columns: list[FileColumn], table: Table) -> dict[str, list[Match]]:
    """For each column of a table the headers that may be it, the likeliest first."""
    found: dict[str, list[Match]] = {}
    meant: Counter[str] = Counter()  # header -> columns of the table whose name it has, and whose cells it could be
    for name, column in table.columns.items():
        scored = []
        for each in columns:
            like, is_sure = likeness_of(each, column)
            if _has_another_unit(each, column, table.columns):
                continue
            if like >= LIKELY or looks_like(each, column):
                right = could_hold(each, column) >= OF_THE_KIND
                meant[each.name] += like == CERTAIN and right
                scored.append(Match(each.name, like, is_sure and right and not is_qualified(each.name, column)))
        scored.sort(key=lambda match: (-match.certain, -match.score))
        if sum(match.certain for match in scored) > 1:
            scored = [Match(match.header, match.score, False) for match in scored]
        found[name] = scored
    found = {
        name: [Match(one.header, one.score, one.certain and meant[one.header] == 1) for one in of]
        for name, of in found.items()
    }
    taken = {of[0].header for of in found.values() if of and of[0].certain}
    return {
        name: of if of and of[0].certain else [match for match in of if match.header not in taken]
        for name, of in found.items()
    }


def visits_in_columns(columns: list[FileColumn], table: Table) -> dict[int, dict[str, list[Match]]]:
    """Columns such as `bone 6m` and `status 5y`: months -> column of the table -> headers.

    Beside a month a name that may mean a column of visits means it, where it may mean no other of them; it is certain
    where the cells are of that kind, and no other header has its name and month.
    """
    groups: dict[int, dict[str, list[Match]]] = {}
    own = {name: column for name, column in table.columns.items() if name not in table.key}
    for each in columns:
        parts = at_months().fullmatch(each.name.strip())
        named = [name for name in own if parts and likeness(parts["stem"], own[name])[0] == CERTAIN]
        fit = [name for name in named if could_hold(each, own[name]) >= OF_THE_KIND]
        if len(found := fit or named) == 1:
            of_month = groups.setdefault(months_of(parts["n"], parts["unit"]), {})
            of_month.setdefault(found[0], []).append(Match(each.name, CERTAIN, bool(fit)))
    return groups if len(groups) > 1 or any(len(group) > 1 for group in groups.values()) else {}


def words_of(found: FileColumn, column: Column) -> tuple[Mapping[str, str], int]:
    """Words of our own lists in a category's cells and the level that each means; how many other words there are."""
    known: dict[str, str] = {}
    n_others = 0
    levels = set(map(str.casefold, map(str, column.levels)))
    for cell in found.cells:
        word, level = level_meant(cell, column)
        if word_in(cell) in levels or missing_word(cell, column):
            continue
        if level:
            known[word] = level
        else:
            n_others += 1
    return known, n_others
