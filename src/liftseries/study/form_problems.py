"""What is wrong with the forms of a file: doubts left in a draft, forms that a column cannot have, contradictions."""

from __future__ import annotations

import codecs
from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Any

from liftseries.base.errors import did_you_mean
from liftseries.study.forms import (
    DOUBT,
    EACH,
    HEIGHTS,
    OF_DATES,
    OUTCOMES,
    REPEATED,
    TAKES,
    folded_name,
)
from liftseries.study.schema import Table

KEYS = ("from", "join", "take", "part", "unit", "words", "missing", "repeated")
DATES_ELSEWHERE = (
    "dates are taken where pseudonyms are made. Run `liftseries pseudonymise --reading` with this file, and name the "
    "file that it writes."
)
Problems = Iterator[tuple[str, str]]  # which entry, and what is wrong with it


def doubts(entries: Any, where: tuple[str, ...] = ()) -> Iterator[str]:
    """The entries of a draft that still hold a `?`, each by the keys that lead to it."""
    if isinstance(entries, Mapping):
        for key, entry in entries.items():
            if key not in ("not_recorded", "not_applicable", "missing", "only_rows") or _is_doubt(entry):
                yield from doubts(entry, (*where, str(key)))
            if _is_doubt(key) and "words" not in where and "levels" not in where:
                yield ", ".join((*where, str(key)))
    elif isinstance(entries, list):
        for number, entry in enumerate(entries, start=1):
            yield from doubts(entry, (*where, f"entry {number}"))
    elif _is_doubt(entries):
        yield ", ".join(where)


def _is_doubt(entry: Any) -> bool:
    return isinstance(entry, str) and (entry.strip() == DOUBT or entry.startswith(f"{DOUBT} "))


def form_problems(filled: Mapping[str, Any], schema: Mapping[str, Table]) -> Problems:
    """Which entry is at fault and why, of a section of the right shape with its defaults filled in.

    Parameters
    ----------
    filled : the keys of `reading` as they hold for one file
    schema : every table, with the study's own columns
    """
    rows = filled["header_rows"]
    if any(later <= earlier for earlier, later in pairwise(rows)):
        yield "header_rows", "the rows do not rise. Put them in order, each once."
    if filled["encoding"] and not _is_encoding(filled["encoding"]):
        yield "encoding", "is no encoding of text that is known. Write utf-8, cp1252, latin-1 or another."
    if filled["prefix"] != filled["prefix"].strip() or filled["prefix"].startswith(tuple("=+-@")):
        yield "prefix", "begins or ends in a blank, or begins as a formula does. Use letters and digits."
    for form in ("constants", "not_collected", "empty_means", "columns"):
        for table, names in filled[form].items():
            for name in names:
                if name not in schema[table].columns and name != EACH:
                    message = f'"{name}" is no column of {table}.{did_you_mean(name, schema[table].columns)}'
                    yield f"{form}, {table}", message
    yield from _constant_problems(filled, schema)
    yield from _empty_problems(filled, schema)
    for table, entries in filled["columns"].items():
        for name, entry in entries.items():
            where, column = f"columns, {table}, {name}", schema[table].columns.get(name)
            if name == EACH:
                yield from _each_problems(entry, where, schema[table])
            elif column is not None:
                for message in _entry_problems(entry, column):
                    yield where, message
    yield from _ignored_and_used(filled)


def _is_encoding(name: str) -> bool:
    try:
        return codecs.lookup(name)._is_text_encoding and name.lower() not in ("idna", "punycode", "undefined", "mbcs")
    except (LookupError, ValueError):
        return False


def _constant_problems(filled: Mapping[str, Any], schema: Mapping[str, Table]) -> Problems:
    for table, values in filled["constants"].items():
        known = schema[table]
        for name in values:
            where = f"constants, {table}, {name}"
            if name in (*known.key, "patient_id", "site_id"):
                yield where, "a key is each row's own and can be no constant. Delete the line."
            elif name in ("tooth", *OUTCOMES, *HEIGHTS):
                yield where, "is found at each site or visit and can be no constant. Delete the line."
            elif name in filled["columns"].get(table, {}):
                yield where, "stands under `columns` too. Keep one of the two."
    for table, names in filled["not_collected"].items():
        known = schema[table]
        for name in names:
            where = f"not_collected, {table}"
            if name in (*known.key, *known.references, "tooth"):
                yield where, f"{name}: keys, references and teeth must be there. Delete it here."
            elif name in filled["columns"].get(table, {}) or name in filled["constants"].get(table, {}):
                yield where, f"{name} stands under `columns` or `constants` too. Keep one of the two."


def _empty_problems(filled: Mapping[str, Any], schema: Mapping[str, Table]) -> Problems:
    for table, values in filled["empty_means"].items():
        for name, value in values.items():
            where, column = f"empty_means, {table}, {name}", schema[table].columns.get(name)
            if column is None:
                continue
            if name in filled["not_collected"].get(table, ()) or name in filled["constants"].get(table, {}):
                yield where, "the column is not read from the file. Delete the line."
            elif column.type == "category":
                if str(value) not in map(str, column.levels):
                    yield where, f'"{value}" is none of {", ".join(map(str, column.levels))}. Correct the value.'
            elif not (column.unit == "ml" and value in (0, "0")):
                yield where, "an empty cell can mean a level of a category, or 0 of a volume, and nothing else."


def _entry_problems(entry: Any, column) -> Iterator[str]:
    """What is wrong with one entry of `columns`."""
    if isinstance(entry, str):
        return
    if not isinstance(entry, Mapping):
        yield "expected a column of the file, or keys such as `from`. Correct the entry."
        return
    for key in entry:
        if key not in KEYS:
            yield f'"{key}" is not a known key.{did_you_mean(str(key), KEYS)}'
    sources = entry.get("from")
    named = [sources] if isinstance(sources, str) else sources
    if not (isinstance(named, list) and named and all(isinstance(name, str) and name for name in named)):
        yield "`from` must name a column of the file, or a list of them. Correct it."
        return
    ways = [key for key in ("join", "take") if key in entry]
    if entry.get("take") in OF_DATES:
        yield DATES_ELSEWHERE
    elif len(ways) == 2 or (len(named) > 1) != (len(ways) == 1):
        yield "several columns need one of `join` and `take`, and these need several columns. Correct the entry."
    elif "take" in entry and entry["take"] not in TAKES:
        yield f"`take` is none of {', '.join(TAKES)}. Correct it."
    elif "take" in entry and column.type not in ("number", "integer"):
        yield "only a number can be the lowest, highest or mean of several. Use `join`, or name one column."
    if "join" in entry and (column.type != "text" or not isinstance(entry["join"], str)):
        yield "only a text can be joined of several columns, by a text. Use `take`, or name one column."
    yield from _key_problems(entry, column)


def _key_problems(entry: Mapping[str, Any], column) -> Iterator[str]:
    is_number = column.type in ("number", "integer")
    if "part" in entry and not (entry["part"] in (1, 2) and not isinstance(entry["part"], bool) and is_number):
        yield "`part` is the first or second number of a cell: write 1 or 2, at a column of numbers."
    if "unit" in entry and not (isinstance(entry["unit"], str) and is_number and column.unit):
        yield "`unit` names the unit of the file's numbers, such as cm, at a column that has a unit; no factor."
    if entry.get("repeated", REPEATED[0]) not in REPEATED:
        yield f"`repeated` is none of {', '.join(REPEATED)}. Correct it."
    words, missing = entry.get("words", {}), entry.get("missing", [])
    if not (isinstance(words, Mapping) and all(isinstance(value, str | int | float) for value in words.values())):
        yield '`words` gives cells their meaning, such as `{">35": 35}`. Correct it.'
        words = {}
    elif column.type == "category":
        for value in words.values():
            if str(value) not in map(str, column.levels):
                yield f'"{value}" is none of {", ".join(map(str, column.levels))}. Correct `words`.'
    if not (isinstance(missing, list) and all(isinstance(value, str) for value in missing)):
        yield "`missing` is a list of cells, such as [999]. Correct it."
    elif both := [word for word in missing if folded_name(word) in map(folded_name, words)]:
        yield f'"{both[0]}" stands under `words` and `missing`. Keep one of the two.'


def _each_problems(groups: Any, where: str, table: Table) -> Problems:
    if not (isinstance(groups, list) and groups and all(isinstance(group, Mapping) for group in groups)):
        yield where, "expected a list of groups, such as `- {months: 6, status: status 6m}`. Correct it."
        return
    kinds, seen = set(), []
    for number, group in enumerate(groups, start=1):
        place = f"{where}, entry {number}"
        for name, entry in group.items():
            if name not in table.columns:
                yield place, f'"{name}" is no column of {table.name}.{did_you_mean(str(name), table.columns)}'
            elif isinstance(entry, int | float) and not isinstance(entry, bool):
                if name not in table.key:
                    yield place, f"{name}: only a key, such as months, can be a number here. Name a column of the file."
            else:
                for message in _entry_problems(entry, table.columns[name]):
                    yield place, message
        kinds.add(frozenset(set(group) & set(table.key)))
        numbers = {name: entry for name, entry in group.items() if isinstance(entry, int | float)}
        if not set(group) - set(numbers):
            yield place, "names no column of the file. Name one, or delete the group."
        if numbers and numbers in seen:
            yield place, "has the numbers of an earlier group, so that its rows would have the same key. Correct it."
        seen.append(numbers)
    if len(kinds) > 1 or not next(iter(kinds)):
        yield where, f"each group needs the same part of the key ({', '.join(table.key)}). Correct the groups."


def _ignored_and_used(filled: Mapping[str, Any]) -> Problems:
    from liftseries.study.forms import forms_of

    try:
        forms = forms_of(filled)
    except (KeyError, TypeError, AttributeError):
        return  # of another shape, which is told above
    used = {folded_name(name): name for table in filled["columns"] for name in forms.sources(table)}
    for name in forms.ignore:
        if folded_name(name) in used:
            yield "ignore", f'"{name}" is used under `columns` too. Keep one of the two.'
