"""What was told of many cells, by cause: one cause a rule, column and file, with its count and its first places.

Whatever has a rule, a table, a file, a column, a place and a message can be grouped: problems, decisions, oddities.
A message is one sentence on what stood there, then what to do; `parted` takes it apart.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Protocol

MOST_PLACES = 5
MOST_PARTS = 8  # of a place that names many rows
BY_CAUSE = ("rule", "table", "file", "column")
OF_THE_HEADER = ("column_is_there", "column_is_known")  # told of a file, whichever of its columns
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
SENTENCE_END = re.compile(r"(?<=[.?!]) (?=[A-Z`\"])")


class Told(Protocol):
    """What can be grouped."""

    rule: str
    table: str
    file: str
    column: str
    place: str  # parts with commas between: `sites.csv, row 12, tooth`
    message: str  # what stood there; what to do


@dataclass(frozen=True)
class Item:
    """The plainest `Told`."""

    rule: str
    place: str
    message: str
    table: str = ""
    file: str = ""
    column: str = ""


@dataclass
class Variant:
    """One wording within a cause; numbers in it may differ from cell to cell."""

    told: str  # of the first cell
    remedy: str
    count: int = 0
    n_items: int = 0  # a decision may count many cells
    places: list[str] = field(default_factory=list)  # the first five
    columns: list[str] = field(default_factory=list)  # theirs
    lowest: float = 0.0  # of the number that every wording begins with
    highest: float = 0.0
    differs: bool = False
    differs_behind: bool = False  # in a number that no wording begins with

    @property
    def words(self) -> str:
        """The sentence for all its cells."""
        told = self.told.rstrip(".")
        if not self.differs:
            return told
        if self.lowest < self.highest and not self.differs_behind and (first := NUMBER.match(told)):
            return f"{self.lowest:g} … {self.highest:g}{told[first.end() :]}"
        return f"such as: {told}"


@dataclass
class Cause:
    """All that one rule found in one column of one file."""

    rule: str
    table: str
    file: str
    column: str
    variants: list[Variant]  # the most frequent first

    @property
    def count(self) -> int:
        return sum(variant.count for variant in self.variants)

    @property
    def remedy(self) -> str:
        """That of most of its cells."""
        return self.variants[0].remedy


def parted(message: str) -> tuple[str, str]:
    """What stood there, and what to do about it (empty where nothing is said)."""
    told, *rest = SENTENCE_END.split(message, maxsplit=1)
    return told, rest[0] if rest else ""


def causes_of(items: Iterable[Told], by: Sequence[str] = BY_CAUSE) -> list[Cause]:
    """The causes, in the order of their first items.

    Parameters
    ----------
    items
    by : attributes of an item in which the items of a cause are alike
    """
    groups: dict[tuple[str, ...], dict[str, Variant]] = {}
    rule, table, file, column = (name in by for name in BY_CAUSE)
    for item in items:
        key = (
            item.rule if rule else "",
            item.table if table else "",
            item.file if file else "",
            item.column if column and item.rule not in OF_THE_HEADER else "",
        )
        found = groups.get(key)
        _add(groups.setdefault(key, {}) if found is None else found, item)
    return [Cause(*key, sorted(found.values(), key=lambda variant: -variant.count)) for key, found in groups.items()]


@lru_cache(maxsize=64)  # thousands of cells in a row may have the same message
def _taken_apart(message: str, listed_column: str) -> tuple[str, str, str, float]:
    """What stood there, the remedy, the wording without its numbers, and the number that it begins with."""
    told, remedy = parted(message)
    if listed_column:
        told = told.replace(f": {listed_column}", "")  # the columns are listed behind it
    first = NUMBER.match(told)
    return told, remedy, NUMBER.sub("#", told), float(first[0]) if first else 0.0


def _add(variants: dict[str, Variant], item: Told) -> None:
    told, remedy, alike, number = _taken_apart(item.message, item.column if item.rule in OF_THE_HEADER else "")
    variant = variants.get(alike)
    if variant is None:
        variant = variants[alike] = Variant(told, remedy, lowest=number, highest=number)
    variant.count, variant.n_items = variant.count + getattr(item, "n_cells", 1), variant.n_items + 1
    variant.lowest, variant.highest = min(variant.lowest, number), max(variant.highest, number)
    if told != variant.told:
        variant.differs = True
        variant.differs_behind |= NUMBER.sub("", told, count=1) != NUMBER.sub("", variant.told, count=1)
    if len(variant.places) < MOST_PLACES:
        variant.places.append(item.place)
        variant.columns.append(item.column)


def common_place(places: Sequence[str]) -> tuple[str, list[str]]:
    """What places share (`sites.csv, tooth`), and what is left of each (`row 12`)."""
    parts = [place.split(", ") for place in places]
    parts = [part if len(part) <= MOST_PARTS else [*part[:MOST_PLACES], "…", part[-1]] for part in parts]
    if len(parts) == 1:
        return ", ".join(parts[0]), [""]
    shortest = min(map(len, parts))
    head = next((at for at in range(shortest) if len({part[at] for part in parts}) > 1), shortest)
    tail = next((at for at in range(shortest - head) if len({part[-1 - at] for part in parts}) > 1), shortest - head)
    shared = [*parts[0][:head], *(parts[0][-tail:] if tail else [])]
    return ", ".join(shared), [", ".join(part[head : len(part) - tail]) for part in parts]


def listed(spots: Sequence[str], count: int) -> str:
    """`rows 2, 5, 9 and 31 more` of the first spots."""
    spots = list(dict.fromkeys(filter(None, spots)))
    kinds = {spot.split(" ")[0] for spot in spots}
    if len(spots) > 1 and len(kinds) == 1 and all(spot.count(" ") == 1 for spot in spots):
        kind = kinds.pop()
        text = f"{kind}s {', '.join(spot.removeprefix(f'{kind} ') for spot in spots)}"
    else:
        text = "; ".join(spots) if any("," in spot for spot in spots) else ", ".join(spots)
    more = count - len(spots)
    return f"{text} and {more} more" if spots and more > 0 else text
