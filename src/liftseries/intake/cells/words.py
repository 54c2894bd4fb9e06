"""Words and signs that people type for a level or for a missing value.

They are only ever proposed: `-` or `ja` means nothing until study.yaml says so. A message may name a word of these
lists, never another text of a cell.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from functools import cache

from liftseries.base.numbers import plain
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.files.grid import BLANKS
from liftseries.intake.told.verdicts import Fault
from liftseries.study.reading import folded
from liftseries.study.schema import Column

# For a missing value; those of the first line also where a text is due, where a plain word may be a label.
MISSING_SIGNS = ("-", "--", "---", "–", "—", "?", "??", "???", ".", "..", "...", "/", "n/a", "#n/a", "nan", "null")
MISSING_WORDS = (
    "na",
    "n.a.",
    "none",
    "nil",
    "missing",
    "not recorded",
    "not known",
    "not applicable",
    "nr",
    "nd",
    "k.a.",
)
# For a level of that name.
LEVEL_WORDS: Mapping[str, tuple[str, ...]] = {
    "yes": ("y", "1", "x", "true", "t", "+", "positive", "pos", "present", "ja", "j", "oui", "o", "si", "sí", "sim"),
    "no": ("n", "0", "false", "f", "negative", "neg", "absent", "nein", "nee", "non", "não", "nao"),
    "unknown": ("unk", "uk", "nk", "not known", "unbekannt", "inconnu", "desconocido", "sconosciuto", "onbekend"),
    "female": ("f", "w", "woman", "weiblich", "frau", "femme", "mujer", "donna", "v", "vrouw"),
    "male": ("m", "man", "männlich", "mann", "homme", "hombre", "uomo"),
    "never": (
        "non-smoker", "nonsmoker", "non smoker", "never smoker",
        "nichtraucher", "nie", "jamais", "nunca", "nooit", "niet-roker",
    ),
    "former": (
        "ex", "ex-smoker", "ex smoker", "former smoker", "past",
        "exraucher", "früher", "ehemals", "ancien", "gestopt",
    ),
    "current": ("smoker", "current smoker", "raucher", "actuel", "fumeur", "roker"),
    "none": ("no", "n", "0", "nil", "nein", "keine", "non", "aucun", "aucune", "geen", "nessuno", "ninguno"),
}  # fmt: skip


def word_in(cell: object) -> str:
    """A cell as the word that study.yaml may name: folded; a number as people write it."""
    if isinstance(cell, bool):
        return str(cell).casefold()
    if isinstance(cell, str):
        return folded(cell.strip(BLANKS))
    number = number_in(cell)
    return "" if number is None else plain(number)


def apart_from_blanks(word: str) -> str:
    """`same day`, `Same-Day` and `same_day` are one word but for what stands between."""
    return word.casefold().translate(dict.fromkeys(map(ord, " -_")))


@cache
def all_folded(words: tuple[str, ...]) -> frozenset[str]:
    return frozenset(map(folded, words))


def missing_word(cell: object, column: Column) -> str:
    """The word of our lists for a missing value that stands in the cell, or an empty text."""
    if not isinstance(cell, str):
        return ""
    word = word_in(cell)
    known = MISSING_SIGNS if column.type == "text" else (*MISSING_SIGNS, *MISSING_WORDS)
    return word if word in known else ""


def level_meant(cell: object, column: Column) -> tuple[str, str]:
    """The word of our lists in the cell and the one level of the column that it may mean; empty texts if none."""
    word = word_in(cell)
    plain_word = apart_from_blanks(word)
    levels = [
        level
        for level in column.levels
        if word in LEVEL_WORDS.get(str(level), ()) or (word and plain_word == apart_from_blanks(str(level)))
    ]
    return (word, str(levels[0])) if len(levels) == 1 else ("", "")


def proposed_reading(faults: Iterable[tuple[str, Fault]]) -> dict:
    """What study.yaml may confirm, as its section `reading`: by column name and fault, in order, each word once."""
    proposed: dict[str, dict] = {}
    for column, fault in faults:
        if fault.key == "levels":
            proposed.setdefault("levels", {}).setdefault(column, {})[fault.word] = fault.level
        elif fault.key:
            proposed.setdefault(fault.key, {})[fault.word] = None
    return {key: found if key == "levels" else list(found) for key, found in proposed.items()}


def with_words(reading: Mapping, proposed: Mapping) -> dict:
    """The section `reading` as study.yaml has it, with the words that it may confirm."""
    merged = {key: dict(words) if isinstance(words, Mapping) else words for key, words in reading.items()}
    for key, words in proposed.items():
        if key == "levels":
            for column, levels in words.items():
                own = merged.setdefault("levels", {})
                own[column] = {**own.get(column, {}), **levels}
        else:
            merged[key] = [*merged.get(key, ()), *words]
    return merged


def as_yaml(reading: Mapping) -> str:
    """The section `reading` as lines to paste into study.yaml."""
    lines = ["reading:"]
    for key, words in reading.items():
        if key == "levels":
            lines.append("  levels:")
            for column, levels in words.items():
                pairs = ", ".join(f"{json.dumps(word, ensure_ascii=False)}: {level}" for word, level in levels.items())
                lines.append(f"    {column}: {{{pairs}}}")
        else:
            lines.append(f"  {key}: {json.dumps(words, ensure_ascii=False)}")
    return "\n".join(lines) + "\n"
