"""Rows whose key a line corrects and the centre has corrected in its own file too: the key they are found by.

Two ids that lines exchange, and that the centre has then exchanged itself, are exchanged once more: both old keys are
still there, and a line holds no hash of its row. Such lines must be withdrawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from liftseries.intake.corrections.lines import Correction
from liftseries.intake.corrections.rows import BETWEEN, Filed, canonical, key_text


def keys_given(live: Iterable[Correction], tables: Mapping[str, Filed]) -> dict[tuple[str, str, str], Correction]:
    """(table, key, column) -> the line that gives the row another text in that column of its key."""
    lines = [line for line in live if line.table in tables and line.column in tables[line.table].table.key]
    return {(line.table, line.key, line.column): line for line in lines}


def new_key(line: Correction, filed: Filed, given: Mapping[tuple[str, str, str], Correction]) -> str:
    """The key of the line's row once the centre has its key in the file as other lines give it; the old one if none."""
    table, names = filed.table, filed.table.key
    parts = line.key.split(BETWEEN)
    parts = parts if len(parts) == len(names) else [""] * len(names)
    for at, name in enumerate(names):
        column = table.columns[name]
        by = given.get((table.name, line.key, name))
        if by is None and (parent := table.references.get(name)):
            by = next((one for (of, key, _), one in given.items() if of == parent and key == parts[at]), None)
        parts[at] = parts[at] if by is None else key_text([canonical(by.value, column)])
    return BETWEEN.join(parts) if all(parts) else line.key


def with_old_key(text: Sequence[Sequence[str]], key: str, names: Sequence[str]) -> list[list[str]]:
    """A row's text, see `Filed.text`, as it was when its key was this one."""
    parts = [part.replace("||", "|") for part in key.split(BETWEEN)]
    old = dict(zip(names, parts, strict=True)) if len(parts) == len(names) else {}
    return [[name, old.get(name, filled)] for name, filled in text]
