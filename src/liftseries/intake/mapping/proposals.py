"""Forms that the cells of a file call for: two numbers in a cell, one of two columns, rows of several kinds.

What is proposed is certain only where header and cells leave no second meaning; else it is a question.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from liftseries.intake.cells.numbers import number_in
from liftseries.intake.files.grid import is_blank
from liftseries.intake.forms.cells import blanks
from liftseries.intake.forms.numbers import PARTS
from liftseries.intake.mapping.header_words import bare, tokens, without_group, written
from liftseries.intake.mapping.matching import OF_THE_KIND, FileColumn, Match, could_hold
from liftseries.study.schema import Column, Table

FEWEST = 3  # different cells, for a shape to call for a form
MOST_WORDS = 12  # of a column that says what a row is
SURGERY, VISIT = "surgery", "visit"
NUMBERED = re.compile(r"\s*(?:[-.#]|[nN][°º])?\s*\d{1,3}\s*\.?\s*$")  # `Kontrolle 2`, `Contrôle n° 3`


@dataclass(frozen=True)
class Proposal:
    """One column of a table by a form."""

    column: str
    sources: tuple[str, ...]  # headers
    form: tuple[str, object]  # (`part`, 2), (`take`, `lowest`)
    certain: bool


@dataclass(frozen=True)
class RowKinds:
    """A column that says whether a row is a surgery or a visit."""

    header: str
    words: Mapping[str, tuple[str, ...]]  # SURGERY, VISIT -> the words, as they stand there
    n_others: int  # different words that no list of ours has
    certain: bool


def of_columns(columns: list[FileColumn], table: Table, found: Mapping[str, list[Match]]) -> list[Proposal]:
    """What the columns of one table may be made of by `part` and `take`, where no header is certain for them."""
    sure = {of[0].header for of in found.values() if of and of[0].certain}
    open_columns = {name for name, of in found.items() if not (of and of[0].certain)}
    free = [column for column in columns if column.name not in sure]
    proposals = [*_two_parts(free, table), *_of_two_columns(free, table)]
    kept = [one for one in proposals if one.column in open_columns]
    whole = {one.sources for one in proposals if one not in kept}
    return [one for one in kept if one.sources not in whole]  # both columns of a pair, or none


# ── two numbers in a cell ───────────────────────────────────────────────────────────────────────


def _two_parts(columns: list[FileColumn], table: Table) -> Iterator[Proposal]:
    for entry in written()["two_parts"]:
        if any(name not in table.columns for name in entry["columns"]):
            continue
        of_table = [table.columns[name] for name in entry["columns"]]
        found = [column for column in columns if _holds_parts(column, of_table)]
        for column in found:
            words = tokens(column.name)
            named = any(set(map(str, pair)) <= set(words) and _in_order(pair, words) for pair in entry["certain"])
            certain = len(found) == 1 and named and bool(set(entry["named"]) & set(words))
            for part, name in enumerate(entry["columns"], start=1):
                yield Proposal(name, (column.name,), ("part", part), certain)


def _holds_parts(column: FileColumn, of_table: list[Column]) -> bool:
    """Whether cells hold two numbers, each in the range of its column, and the second the larger one."""
    texts = [cell for cell in column.cells if isinstance(cell, str)]
    pairs = [found.groups() for text in texts if (found := PARTS.fullmatch(text))]
    numbers = [[number_in(part) for part in pair] for pair in pairs]
    fit = [
        all(_in_range(number, of) for number, of in zip(pair, of_table, strict=True)) and pair[0] < pair[1]
        for pair in numbers
        if None not in pair
    ]
    return len(pairs) >= max(FEWEST, OF_THE_KIND * len(column.cells)) and all(fit)


def _in_range(number: float, column: Column) -> bool:
    lowest = column.at_least if column.above is None else column.above
    return (lowest is None or number >= lowest) and (column.at_most is None or number <= column.at_most)


def _in_order(pair: list[str], words: list[str]) -> bool:
    return words.index(str(pair[0])) < words.index(str(pair[1]))


# ── one of two columns ──────────────────────────────────────────────────────────────────────────


def _of_two_columns(columns: list[FileColumn], table: Table) -> Iterator[Proposal]:
    for entry in written()["of_two_columns"]:
        takes = {name: take for name, take in entry["take"].items() if name in table.columns}
        if not takes:
            continue
        sure, maybe = (frozenset(map(bare, entry.get(key, ()))) for key in ("certain", "maybe"))
        of_table = table.columns[next(iter(takes))]
        stems: dict[str, list[FileColumn]] = {}
        for column in columns:
            if could_hold(column, of_table) >= OF_THE_KIND and len(column.cells) >= FEWEST:
                for stem in {stem for stem, _ in _sides(column)}:
                    stems.setdefault(stem, []).append(column)
        pairs = [(stem, *of) for stem, of in stems.items() if stem in sure | maybe and _is_pair(of)]
        for stem, first, second in pairs:
            for name, take in takes.items():
                certain = stem in sure and len(pairs) == 1
                yield Proposal(name, (first.name, second.name), ("take", take), certain)


def _sides(column: FileColumn) -> Iterator[tuple[str, str]]:
    """What is left of a name without a word for a side, and that word."""
    words = bare(without_group(column.name) if column.in_group else column.name).split()
    sides = {str(side) for pair in written()["sides"] for side in pair}
    for at, word in enumerate(words):
        if word in sides:
            yield " ".join(words[:at] + words[at + 1 :]), word


def _is_pair(columns: list[FileColumn]) -> bool:
    """Two columns whose names are alike but for the two words of one pair of sides."""
    if len(columns) != 2:
        return False
    first, second = ({side for _, side in _sides(column)} for column in columns)
    pairs = [set(map(str, pair)) for pair in written()["sides"]]
    return any({a, b} == pair for a in first for b in second for pair in pairs)


# ── rows of several kinds ───────────────────────────────────────────────────────────────────────


def row_kinds(columns: list[FileColumn], of_surgery: list[FileColumn], of_visits: list[FileColumn]) -> RowKinds | None:
    """The column that says what a row is; certain where its words are ours and rows of a kind fill its columns alone.

    Parameters
    ----------
    columns : of the file
    of_surgery, of_visits : those that are certain columns of sites, and of visits
    """
    found = [kinds for column in columns if (kinds := _kinds_of(column, of_surgery, of_visits))]
    if len(found) > 1:
        found = [kinds for kinds in found if bare(kinds.header) in set(map(bare, written()["rows"]["headers"]))]
    return found[0] if len(found) == 1 else None


def _kinds_of(column: FileColumn, of_surgery: list[FileColumn], of_visits: list[FileColumn]) -> RowKinds | None:
    kinds: dict[str, list[str]] = {SURGERY: [], VISIT: []}
    of_word: dict[object, str] = {}
    for cell in column.cells[: MOST_WORDS + 1]:
        word = bare(NUMBERED.sub("", cell)) if isinstance(cell, str) else ""
        kind = next((kind for kind in kinds if word in set(map(bare, written()["rows"][kind]))), "")
        if kind:
            kinds[kind].append(str(cell))
            of_word[cell] = kind
    if not all(kinds.values()) or len(column.cells) > MOST_WORDS:
        return None
    n_others = len(column.cells) - len(of_word)
    kind_of_row = np.array([of_word.get(cell, "") if not is_blank(cell) else "" for cell in column.rows], dtype=object)
    apart = (
        bool(of_surgery and of_visits)
        and not any((~blanks(one.rows))[kind_of_row == VISIT].any() for one in of_surgery)
        and not any((~blanks(one.rows))[kind_of_row == SURGERY].any() for one in of_visits)
    )
    words = {kind: tuple(found) for kind, found in kinds.items()}
    return RowKinds(column.name, words, n_others, apart and not n_others and bool((kind_of_row != "").all()))
