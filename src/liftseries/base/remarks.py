"""Remarks on an estimate: why there is none, what it rests on and how to read it, each by name, all words in one place.

In tables and files a remark stands in words (`note`, `problem`, the reason of a site left out), several with "; "
between them. Whoever asks what a remark is reads it back and asks for its name. The holes of a template:

    {n_failures:failure}   a count with its noun: `1 failure`, `12 failures`, `a withheld number of failures`
    {months:g}, {share:.1f}   a number
    {knots:numbers}        numbers with commas between, or `withheld`
    {terms:names}          `a, b and c`
    {why:remark}           another remark, at the end
    {column}               a text: a column, level, term, analysis or code, no words of ours
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from string import Formatter
from typing import Any

from liftseries.base.remark_templates import TEMPLATES

BETWEEN = "; "
WITHHELD = "withheld"
WITHHELD_COUNT = -1  # a count that is known and not said; a count is never negative
# What the series counts, and a release may have to withhold; other nouns count what the plan or the model chose.
OF_CASES = frozenset({"event", "failure", "implant", "measurement", "operator", "patient", "site"})
OF_CHOICE = frozenset(
    {"coefficient", "draw", "group", "imputation", "imputed set", "parameter", "resample", "step", "term"}
)


@dataclass(frozen=True)
class Remark:
    """A remark that was read back.

    Attributes
    ----------
    name : of its template; empty where its words are none of ours
    holes : hole -> count (int, `WITHHELD_COUNT` where withheld), number, names, `Remark` or text; of one without a name
        `text`
    """

    name: str
    holes: Mapping[str, Any]

    def __str__(self) -> str:
        """Its words."""
        return remark(self.name, **self.holes) if self.name else self.holes["text"]


def remark(name: str, /, **holes: Any) -> str:
    """A remark in words.

    Raises
    ------
    KeyError
        There is no such remark, or a hole stays empty.
    TypeError
        It has no such hole.
    """
    parts = list(_parts(name))
    if more := set(holes) - {hole for _, hole, _ in parts}:
        raise TypeError(f"remark {name} has no hole {', '.join(sorted(more))}")
    return "".join(words + (_filled(kind, holes[hole]) if hole else "") for words, hole, kind in parts)


def joined(*remarks: str) -> str:
    """Several remarks in one cell; empty ones say nothing."""
    return BETWEEN.join(filter(None, remarks))


def remarks_in(text: str | None) -> list[Remark]:
    """The remarks that a cell holds, in their order; words that no template reads are a remark without a name."""
    return list(_read(text)) if isinstance(text, str) and text else []


def names_in(text: str | None) -> set[str]:
    """The names of the remarks that a cell holds."""
    return {one.name for one in remarks_in(text)}


def counts_of_cases(name: str) -> set[str]:
    """The holes of a remark that count what a release may have to withhold."""
    return {hole for _, hole, kind in _parts(name) if kind in OF_CASES} if name else set()


def _parts(name: str) -> Iterator[tuple[str, str, str]]:
    """A template in pieces: words, the hole after them (or ""), its kind."""
    for words, hole, kind, _ in Formatter().parse(TEMPLATES[name]):
        yield words, hole or "", kind or ""


def _filled(kind: str, value: Any) -> str:
    if kind in OF_CASES or kind in OF_CHOICE:
        if value == WITHHELD_COUNT:
            return f"a {WITHHELD} number of {kind}s"
        return f"{int(value)} {kind}" + ("" if value == 1 else "s")
    if kind == "numbers":
        return ", ".join(f"{number:g}" for number in value) or WITHHELD
    if kind == "names":
        return " and ".join(filter(None, [", ".join(value[:-1]), value[-1]]))
    return str(value) if kind in ("", "remark") else f"{value:{kind}}"


@lru_cache(maxsize=4096)
def _read(text: str) -> tuple[Remark, ...]:
    """A level may hold a semicolon itself, so what is not read up to one is tried up to the next."""
    parts, found = text.split(BETWEEN), []
    while parts:
        lengths = range(1, len(parts) + 1)
        read = ((n, one) for n in lengths if (one := _read_one(BETWEEN.join(parts[:n]))))
        n, one = next(read, (1, Remark("", {"text": parts[0]})))
        found.append(one)
        parts = parts[n:]
    return tuple(found)


def _read_one(text: str) -> Remark | None:
    return next((one for name in _in_reading_order() if (one := _read_as(name, text))), None)


@cache
def _in_reading_order() -> tuple[str, ...]:
    """The names, those that hold another remark first: the first hole of any other would swallow what leads to it."""
    return tuple(sorted(TEMPLATES, key=lambda name: all(kind != "remark" for _, _, kind in _parts(name))))


def _read_as(name: str, text: str) -> Remark | None:
    """The text as a remark of that name; None where it is none."""
    if not (found := _pattern(name).fullmatch(text)):
        return None
    holes = {hole: _value(kind, found[hole]) for _, hole, kind in _parts(name) if hole}
    return None if None in holes.values() else Remark(name, holes)


@cache
def _pattern(name: str) -> re.Pattern:
    pattern, seen = "", set()
    for words, hole, kind in _parts(name):
        pattern += re.escape(words)
        if hole:
            pattern += f"(?P={hole})" if hole in seen else f"(?P<{hole}>{_form(kind)})"
            seen.add(hole)
    return re.compile(pattern)


def _form(kind: str) -> str:
    if kind in OF_CASES or kind in OF_CHOICE:
        return rf"\d+ {kind}s?|a {WITHHELD} number of {kind}s"
    number = r"-?(?:\d[\d.]*(?:e[+-]?\d+)?|inf|nan)"
    if kind == "numbers":
        return rf"{number}(?:, {number})*|{WITHHELD}"
    return ".+?" if kind in ("", "names", "remark") else number


def _value(kind: str, words: str) -> Any:
    if kind in OF_CASES or kind in OF_CHOICE:
        return int(words.split()[0]) if words[0].isdigit() else WITHHELD_COUNT
    if kind == "numbers":
        return () if words == WITHHELD else tuple(float(number) for number in words.split(", "))
    if kind == "names":
        *others, last = words.rsplit(" and ", 1)
        return (*(name for part in others for name in part.split(", ")), last)
    if kind == "remark":
        return _read_one(words)
    return words if kind == "" else float(words)


# Problems that only say that nobody recorded what an analysis asks for: nothing to print, nothing to look into.
NOTHING_RECORDED = frozenset({remark("not_recorded"), remark("no_tear_to_describe")})
