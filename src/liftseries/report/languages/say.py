"""A sentence in words: its template by name, its holes filled.

    {sites:# site|# sites}   a count, `#` being the number: `1 site`, `634 sites`, `a withheld number of sites`
    {sites:was|were}         the word that goes with a count: the first with one, else the second
    {n:count}                a count without its noun: `634`, `withheld`
    {share:percent}          a share as percent; also `decimal`, `decimal1`, `ratio`, `p`
    {low:g}                  a number as Python writes it
    {terms:and}              `a, b and c`
    {height}                 a text: a label, a level, numbers already written
    [[, of {n:# site|# sites}]]   a part that goes alone where a number of it may not be told

A count that is not known is `an unknown number of`, one told as few `fewer than 5`; of a count that is withheld nothing
is said: its part in double brackets goes, or the whole sentence. Other holes must be filled. What ends with a full stop
is a sentence and begins with a capital, whatever fills its first hole.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from string import Formatter
from typing import Any

from liftseries.report.kit.numbers import (
    LEAVES,
    count,
    decimal,
    is_few,
    is_withheld,
    listed,
    missing,
    p_value,
    percent,
    ratio,
)
from liftseries.report.languages.english import TEMPLATES

WRITTEN: dict[str, Callable[[Any], str]] = {
    "count": count,
    "percent": percent,
    "decimal": decimal,
    "decimal1": lambda value: decimal(value, 1),
    "ratio": ratio,
    "p": p_value,
    "and": lambda words: listed([word for word in words if not isinstance(word, Untold)]),
}


class Untold(str):
    """What stands for a sentence of which a number may not be told: nothing, and nothing is said of what it fills."""


UNTOLD = Untold("")
PART = re.compile(r"(\[\[.*?\]\])")  # of a template, which goes alone


@contextmanager
def words_that_leave() -> Iterator[None]:
    """Within it a sentence goes of which a number is missing; elsewhere that is an error."""
    token = LEAVES.set(True)
    try:
        yield
    finally:
        LEAVES.reset(token)


def say(name: str, /, **holes: Any) -> str:
    """A sentence.

    Parameters
    ----------
    name : of its template: `membrane.share`
    holes : what fills it

    Raises
    ------
    KeyError
        There is no such sentence, or a hole stays empty.
    TypeError
        It has no such hole, or a number that must be there is missing.
    """
    if more := set(holes) - {hole for _, hole, _ in parts_of(TEMPLATES[name])}:
        raise TypeError(f"sentence {name} has no hole {', '.join(sorted(more))}")
    parts = [part for piece in PART.split(TEMPLATES[name]) for part in _told_parts(piece, holes)]
    if any(_is_untold(holes.get(hole), kind) for _, hole, kind in parts if hole):
        return UNTOLD
    text = "".join(words + (_filled(name, kind, holes[hole]) if hole else "") for words, hole, kind in parts)
    return text[0].upper() + text[1:] if text.endswith(".") else text


def _told_parts(piece: str, holes: dict[str, Any]) -> list[tuple[str, str, str]]:
    """A piece of a template in parts; none where it stands in double brackets and a number of it may not be told."""
    if not PART.fullmatch(piece):
        return list(parts_of(piece))
    parts = list(parts_of(piece[2:-2]))
    return [] if any(_is_untold(holes.get(hole), kind) for _, hole, kind in parts if hole) else parts


def parts_of(template: str) -> Iterator[tuple[str, str, str]]:
    """A template in pieces: words, the hole after them (or ""), its kind."""
    for words, hole, kind, _ in Formatter().parse(template):
        yield words, hole or "", kind or ""


def counts_in(template: str) -> set[str]:
    """The holes of a template that are counts."""
    return {hole for _, hole, kind in parts_of(template) if "|" in kind}


def _is_untold(value: Any, kind: str) -> bool:
    """Whether a hole would be filled with what may not be told."""
    if isinstance(value, Untold):
        return True
    if kind == "and":
        parts = list(value)
        return (bool(parts) or LEAVES.get()) and all(isinstance(part, Untold) for part in parts)
    if "|" in kind or kind == "count":
        return is_withheld(value) and not is_few(value)
    return LEAVES.get() and missing(value)


def _filled(name: str, kind: str, value: Any) -> str:
    if "|" in kind:
        one, many = kind.split("|")
        if is_few(value):
            return many.replace("#", f"fewer than {-int(value)}")
        if missing(value):
            return many.replace("#", "an unknown number of")
        return (one if int(value) == 1 else many).replace("#", str(int(value)))
    if kind == "count" and missing(value):
        return "an unknown number"
    if kind != "and" and missing(value):
        raise TypeError(f"sentence {name}: a hole stays empty")
    if kind in WRITTEN:
        return WRITTEN[kind](value)
    return str(value) if kind == "" else f"{value:{kind}}"
