"""What reading a cell comes to where it is not simply the value that stands there: `Taken` by a rule, or a `Fault`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Fault:
    """Why a cell gives no value; the message never quotes a text, but may name a word of our own lists."""

    rule: str
    message: str
    key: str = ""  # of the section `reading`, where study.yaml may confirm the word below
    word: str = ""  # of our own lists, folded
    level: str = ""  # the level that the word may stand for, under the key `levels`


@dataclass(frozen=True)
class Taken:
    """A value that a stated rule gives to a cell; becomes a `Decision` once the cell's place is known."""

    value: Any  # None where it is missing
    stood: str  # the kind of thing
    taken_for: str
    rule: str
    not_applicable: bool = False
