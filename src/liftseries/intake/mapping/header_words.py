"""What centres call columns, groups of them, rows and months: schemas/header_words.yaml, typed. Code knows no word."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import cache
from typing import Any

from liftseries.base.home import folder
from liftseries.base.plain_yaml import load_shipped_yaml
from liftseries.intake.cells.units import factor_of
from liftseries.study.schema import Column

MAYBE = "maybe"
UNIT = re.compile(r"[(\[]\s*([^)\]]{1,8})\s*[)\]]|\b(mm|cm|ml|cc|ncm|rpm|years?|jahre)\s*$", re.IGNORECASE)


def bare(name: object) -> str:
    """A name as it is compared: without a unit in brackets, signs, letter case and runs of blanks."""
    text = unicodedata.normalize("NFKC", UNIT.sub(" ", str(name))).casefold().replace("_", " ")
    return " ".join(re.sub(r"[^\w/ø ]", " ", text).split())


def unit_of(name: str) -> str:
    """The unit that a name ends in, or has in brackets; empty where it has none."""
    found = UNIT.search(name)
    return (found[1] or found[2] or "").strip() if found else ""


def is_qualified(name: str, column: Column) -> bool:
    """Whether brackets beside a name say more than a unit or how cells are written: which of several things it is."""
    inside = unit_of(name)
    return bool(inside) and factor_of(column, inside) is None and bare(inside) not in harmless_in_brackets()


@cache
def harmless_in_brackets() -> frozenset[str]:
    """What may stand in brackets beside a name that is certain."""
    return frozenset(map(bare, written()["brackets"]))


def tokens(name: object) -> list[str]:
    """The words and numbers of a name, signs and units with them."""
    return re.findall(r"[^\W\d_]+|\d+", unicodedata.normalize("NFKC", str(name)).casefold())


@cache
def written() -> Mapping[str, Any]:
    """The file as it stands."""
    return load_shipped_yaml((folder("schemas") / "header_words.yaml").read_text(encoding="utf-8"))


@cache
def sure_names(column: Column) -> frozenset[str]:
    """Names that mean this column: its own, and those of other languages; what may mean something else is not here."""
    lists = written()["headers"].get(column.name, {})
    own = re.sub(r"_(mm|ml|deg|months|rpm|ncm|years)$", "", column.name)
    names = {bare(name) for name in (column.title, own)}
    names |= {bare(name) for key, entries in lists.items() if key != MAYBE for name in entries}
    return frozenset({bare(column.name)} | (names - possible_names(column)))


@cache
def possible_names(column: Column) -> frozenset[str]:
    """Names that may mean this column, or something else."""
    return frozenset(map(bare, written()["headers"].get(column.name, {}).get(MAYBE, ())))


def heads(group: str, column: Column) -> bool:
    """Whether columns of a group of that name may be called this one without the group's name."""
    return any(
        column.name in entry.get("only", (column.name,)) and column.name not in entry.get("except", ())
        for entry in written()["groups"]
        if bare(group) in map(bare, entry["words"])
    )


def without_group(name: str) -> str:
    """A name without that of the group that it begins with, where that is a group that names no site or side."""
    words = name.split()
    for at in range(1, len(words)):
        if any(bare(" ".join(words[:at])) in map(bare, entry["words"]) for entry in written()["groups"]):
            return " ".join(words[at:])
    return name


@cache
def at_months() -> re.Pattern[str]:
    """Names such as `bone 6m` and `status 5y`, in parts: stem, n, unit."""
    units = sorted((unit for units in written()["months"].values() for unit in units), key=len, reverse=True)
    shown = "|".join(map(re.escape, units))
    return re.compile(rf"(?P<stem>.*?\D)[\s_(\-]*(?P<n>\d{{1,3}})\s*(?P<unit>{shown})\b\.?\)?\s*", re.IGNORECASE)


def months_of(number: str, unit: str) -> int:
    """`5`, `y`: 60."""
    return int(number) * next(months for months, units in written()["months"].items() if unit.casefold() in units)
