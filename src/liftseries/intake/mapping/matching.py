"""A file's headers held against the dictionary: by name, unit in brackets, and what the cells look like."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from liftseries.intake.cells.numbers import in_plain_signs, number_in
from liftseries.intake.cells.units import factor_of
from liftseries.intake.cells.words import level_meant, missing_word, word_in
from liftseries.intake.files.grid import is_blank
from liftseries.intake.forms.cells import WORD_BESIDE_TOOTH
from liftseries.intake.mapping.header_words import HEADER_WORDS
from liftseries.study.schema import Column, Table

CERTAIN, LIKELY = 0.95, 0.72  # of a name's likeness to what the column is called
OF_THE_KIND = 0.8  # share of the filled cells that the column could hold
LOOKED_AT = 500  # different cells of a column
MOST_SHAPE = 14  # characters
BRACKETS = re.compile(r"[(\[]\s*([^)\]]{1,8})\s*[)\]]|\b(mm|cm|ml|cc|ncm|rpm|years?|jahre)\s*$", re.IGNORECASE)
AT_MONTHS = re.compile(
    r"(?P<stem>.*?\D)[\s_(\-]*(?P<n>\d{1,3})\s*(?P<unit>m|mo|months?|monate?|mois|y|yrs?|years?|j|jahre?|ans?)\b\.?\)?\s*",
    re.IGNORECASE,
)
IN_YEARS = ("y", "j", "a")


@dataclass(frozen=True)
class FileColumn:
    """One column of a file: its name, and the different cells that it holds."""

    name: str
    cells: tuple[object, ...]  # filled and different, at most LOOKED_AT
    n_filled: int
    in_group: bool = False  # its name begins with that of a group of columns

    @property
    def unit(self) -> str:
        found = BRACKETS.search(self.name)
        return (found[1] or found[2] or "").strip() if found else ""

    @property
    def shape(self) -> str:
        """What most cells look like: `9,9`, `AA99`."""
        shapes = Counter(shape_of(cell) for cell in self.cells)
        return min(shapes, key=lambda shape: (-shapes[shape], shape)) if shapes else "empty"


def file_column(name: str, cells: np.ndarray, in_group: bool = False) -> FileColumn:
    """A column of a file by its name and raw cells, shape (n_rows,)."""
    filled = [cell for cell in cells.tolist() if not is_blank(cell) and cell == cell]
    different = dict.fromkeys((type(cell), cell) for cell in filled)
    return FileColumn(name, tuple(cell for _, cell in list(different)[:LOOKED_AT]), len(filled), in_group)


def shape_of(cell: object) -> str:
    """Digits as 9, capitals as A, other letters as a; never the text itself."""
    text = in_plain_signs(cell) if isinstance(cell, str) else str(cell)
    marks = {"L": "a", "N": "9", "Z": " "}
    signs = ["A" if sign.isupper() else marks.get(unicodedata.category(sign)[0], sign) for sign in text[:60]]
    shape = re.sub(r"(.)\1{4,}", r"\1…", "".join(signs))
    return shape if len(shape) <= MOST_SHAPE else f"{shape[: MOST_SHAPE - 1]}…"


def likeness_of(found: FileColumn, column: Column) -> float:
    """How much a column of a file is what one of the dictionary is called; the name of its group may be left out."""
    words = found.name.split()
    names = [" ".join(words[at:]) for at in range(len(words) if found.in_group else 1)]
    return max(likeness(name, column) for name in names)


def likeness(name: str, column: Column) -> float:
    """How much a header is what a column is called, 0 to 1: its name, its title, words of other languages."""
    bare = _bare(name)
    called = {_bare(word) for word in (column.name, column.title, *HEADER_WORDS.get(column.name, ()))}
    called |= {_bare(re.sub(r"_(mm|ml|deg|months|rpm|ncm|years)$", "", column.name))}
    if bare in called:
        return 1.0
    return 0.94 * max(difflib.SequenceMatcher(None, bare, word).ratio() for word in called)


def _bare(name: str) -> str:
    text = unicodedata.normalize("NFKC", BRACKETS.sub(" ", name)).casefold().replace("_", " ")
    return " ".join(re.sub(r"[^\w/ø ]", " ", text).split())


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


@dataclass(frozen=True)
class Match:
    """A header for a column; `certain` where it needs no question."""

    header: str
    score: float
    certain: bool


def matches(columns: list[FileColumn], table: Table) -> dict[str, list[Match]]:
    """For each column of a table the headers that may be it, the likeliest first."""
    found: dict[str, list[Match]] = {}
    for name, column in table.columns.items():
        scored = []
        for each in columns:
            like = likeness_of(each, column)
            if like >= LIKELY:
                right = could_hold(each, column) >= OF_THE_KIND
                scored.append(Match(each.name, like, like >= CERTAIN and right))
        scored.sort(key=lambda match: -match.score)
        if sum(match.certain for match in scored) > 1:
            scored = [Match(match.header, match.score, False) for match in scored]
        found[name] = scored
    taken = {of[0].header for of in found.values() if of and of[0].certain}
    return {
        name: of if of and of[0].certain else [match for match in of if match.header not in taken]
        for name, of in found.items()
    }


def visits_in_columns(columns: list[FileColumn], table: Table) -> dict[float, dict[str, list[str]]]:
    """Columns such as `bone 6m` and `status 5y`: months -> column of the table -> headers."""
    groups: dict[float, dict[str, list[str]]] = {}
    for each in columns:
        parts = AT_MONTHS.fullmatch(each.name.strip())
        if not parts:
            continue
        months = int(parts["n"]) * (12 if parts["unit"].lower().startswith(IN_YEARS) else 1)
        likely = {name: likeness(parts["stem"], column) for name, column in table.columns.items()}
        best = max(likely, key=lambda name: likely[name])
        if likely[best] >= LIKELY and best not in table.key:
            groups.setdefault(months, {}).setdefault(best, []).append(each.name)
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
