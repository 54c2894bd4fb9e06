"""What study.yaml confirms of how cells are to be read: its section `reading`.

Nothing here is guessed from the data: a word means a level, or that a value is missing, because the user says so.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from liftseries.base.errors import did_you_mean
from liftseries.study.forms import TEXT_WITH_WORDS, Forms, forms_of
from liftseries.study.schema import Table


@dataclass(frozen=True)
class Reading:
    """What cells mean that do not say it themselves, as study.yaml confirms it."""

    hidden: str = "refuse"  # or read, leave_out
    tooth_numbering: str = "fdi"  # or universal
    not_recorded: tuple[str, ...] = ()
    not_applicable: tuple[str, ...] = ()
    levels: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # column -> word -> level
    cleared: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # table -> columns
    forms: Forms = field(default_factory=Forms)
    where: str = "study.yaml, reading"  # where it is said, for messages


def words_as_text(reading: dict[str, Any]) -> dict[str, Any]:
    """The section with `1`, `true` and `null`, which YAML types, as the words that a cell may hold."""
    given, reading = set(reading), dict(reading)
    for key in ("not_recorded", "not_applicable", "ignore"):
        reading[key] = _words(reading[key]) if key in reading else None
    for key in ("header_rows", "prefix"):
        if isinstance(reading.get(key), int) and not isinstance(reading[key], bool):
            reading[key] = [reading[key]] if key == "header_rows" else str(reading[key])
    if isinstance(reading.get("levels"), dict):
        reading["levels"] = {column: _keys_as_words(words) for column, words in reading["levels"].items()}
    if isinstance(reading.get("only_rows"), dict):
        reading["only_rows"] = {
            table: {word_of(name): _words(words) for name, words in of_table.items()}
            if isinstance(of_table, dict)
            else of_table
            for table, of_table in reading["only_rows"].items()
        }
    if isinstance(reading.get("columns"), dict):
        reading["columns"] = {
            table: {name: _column_as_text(entry) for name, entry in entries.items()}
            if isinstance(entries, dict)
            else entries
            for table, entries in reading["columns"].items()
        }
    return {key: entry for key, entry in reading.items() if entry is not None or key in given}


def word_of(value: Any) -> Any:
    """A value that YAML types as the word that a cell may hold."""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return json.dumps(value) if value is None or isinstance(value, bool | int | float) else value


def _words(value: Any) -> Any:
    if isinstance(value, list):
        return [word_of(entry) for entry in value]
    return None if value is None else [word_of(value)] if isinstance(value, str | int | float) else value


def _keys_as_words(words: Any) -> Any:
    return {word_of(key): entry for key, entry in words.items()} if isinstance(words, dict) else words


def _column_as_text(entry: Any) -> Any:
    """An entry of `columns`: the years and numbers that head a column are names; `each` holds such entries."""
    if isinstance(entry, list):
        return [
            {name: _column_as_text(inner) if isinstance(inner, dict) else inner for name, inner in group.items()}
            if isinstance(group, dict)
            else group
            for group in entry
        ]
    if not isinstance(entry, dict):
        return entry if entry is None else word_of(entry)
    entry = dict(entry)
    if "from" in entry:
        named = entry["from"]
        entry["from"] = _words(named) if isinstance(named, list) else None if named is None else word_of(named)
    if "missing" in entry:
        entry["missing"] = _words(entry["missing"])
    if "words" in entry:
        entry["words"] = _keys_as_words(entry["words"])
    return entry


def reading_problems(reading: Mapping[str, Any], schema: Mapping[str, Table]) -> Iterator[tuple[str, str]]:
    """Which key is at fault and why: words that contradict each other, columns or levels that no table has."""
    told = [(key, word) for key in ("not_recorded", "not_applicable") for word in reading[key]]
    alike = [folded(word) for _, word in told]
    for (key, word), same in zip(told, alike, strict=True):
        if not same:
            yield key, "an entry holds blanks only. Remove it; an empty cell is missing anyway."
        elif any(character.isdecimal() for character in same):
            yield key, f'"{word}" holds a digit and may be a value somewhere. Empty such cells instead.'
        elif alike.count(same) > 1:
            yield key, f'"{word}" stands twice. Keep one of the two.'
    of_levels: dict[str, list[str]] = {}  # a name that several tables have has the levels of them all
    for column in (column for table in schema.values() for column in table.columns.values() if column.levels):
        of_levels.setdefault(column.name, []).extend(map(str, column.levels))
    texts = {*TEXT_WITH_WORDS, *(name for table in schema.values() for name, c in table.columns.items() if c.own)}
    for name, words in reading["levels"].items():
        if name not in of_levels and name in texts:
            for message in _text_problems(words):
                yield f"levels, {name}", message
            continue
        if name not in of_levels:
            yield f"levels, {name}", f'"{name}" is no column with levels.{did_you_mean(name, [*of_levels, *texts])}'
            continue
        for message in _level_problems(words, list(dict.fromkeys(of_levels[name]))):
            yield f"levels, {name}", message
    for table, columns in reading["cleared"].items():
        known = schema[table].columns
        for name in columns:
            if name not in known and folded(name) not in map(folded, reading.get("ignore", ())):
                yield f"cleared, {table}", f'"{name}" is no column of it.{did_you_mean(name, known)}'


def _text_problems(words: Mapping[str, Any]) -> Iterator[str]:
    alike = [folded(word) for word in words]
    for (word, text), same in zip(words.items(), alike, strict=True):
        if not str(text).strip():
            yield f'"{word}" is given no text. Write one, or delete the line.'
        elif alike.count(same) > 1:
            yield f'"{word}" stands twice. Keep one of the two.'


def _level_problems(words: Mapping[str, Any], levels: list[str]) -> Iterator[str]:
    alike = [folded(word) for word in words]
    for (word, level), same in zip(words.items(), alike, strict=True):
        if str(level) not in levels:
            yield f'"{level}" is none of {", ".join(levels)}.{did_you_mean(str(level), levels)}'
        if same in map(folded, levels):
            yield f'"{word}" is itself a level. Remove it; a level means what it says.'
        elif alike.count(same) > 1:
            yield f'"{word}" stands twice. Keep one of the two.'


def folded(word: str) -> str:
    """A word as it is compared: without blanks around it, its letter case and its way of composing letters aside."""
    return unicodedata.normalize("NFKC", word).strip().casefold()


def reading_of(filled: Mapping[str, Any], forms: Forms | None = None, where: str = "study.yaml, reading") -> Reading:
    """The section, checked and with every default filled in, typed; `where` it is said."""
    return Reading(
        hidden=filled["hidden"],
        tooth_numbering=filled["tooth_numbering"],
        not_recorded=tuple(filled["not_recorded"]),
        not_applicable=tuple(filled["not_applicable"]),
        levels={
            column: {word: str(level) for word, level in words.items()} for column, words in filled["levels"].items()
        },
        cleared={table: tuple(columns) for table, columns in filled["cleared"].items()},
        forms=forms or forms_of(filled),
        where=where,
    )
