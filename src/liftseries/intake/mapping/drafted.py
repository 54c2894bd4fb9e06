"""A file's reading as a draft in YAML: certain entries filled in, the others a `?`, the centre's questions on top."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from liftseries.intake.cells.units import factor_of
from liftseries.intake.cells.words import missing_word
from liftseries.intake.mapping.looked_at import LookedAt
from liftseries.intake.mapping.matching import FileColumn, Match, matches, visits_in_columns, words_of
from liftseries.study.forms import folded_name
from liftseries.study.schema import Table

SHOWN_CANDIDATES = 4
SERVED = 2  # columns of its own that a table must find in a file, besides keys and references


@dataclass(frozen=True)
class Draft:
    """The draft of one file."""

    text: str
    tables: tuple[str, ...]  # that the file seems to serve
    questions: tuple[str, ...]
    n_certain: int
    n_doubtful: int


def drafted(file: LookedAt, schema: Mapping[str, Table]) -> Draft:
    """The draft of a file's reading.

    Parameters
    ----------
    file : its columns, and how it must be read
    schema : the tables, with the study's own columns
    """
    by_name = {column.name: column for column in file.columns}
    groups = visits_in_columns(file.columns, schema["visits"])
    in_groups = {header for group in groups.values() for headers in group.values() for header in headers}
    free = [column for column in file.columns if column.name not in in_groups]
    found = {name: matches(free, table) for name, table in schema.items()}
    tables = [name for name, table in schema.items() if _serves(found[name], table) or (name == "visits" and groups)]
    lines, n_certain, n_doubtful, placed = ["columns:"], 0, 0, set(in_groups)
    n_certain += len(in_groups)
    for name in tables:
        before = len(lines)
        for column, candidates in found[name].items():
            line = _line(column, candidates, schema[name], by_name)
            if line is None or (name == "visits" and groups and column == "months"):
                continue
            certain = bool(candidates) and candidates[0].certain
            n_certain, n_doubtful = n_certain + certain, n_doubtful + (not certain)
            placed |= {candidates[0].header} if certain else set()
            lines += line
        if name == "visits" and groups:
            lines += _each(groups)
        lines[before:before] = [f"  {name}:"] if len(lines) > before else []
    ignored = [column for column in file.columns if column.name not in placed]
    candidates = {match.header for name in tables for of in found[name].values() for match in of}
    n_doubtful += sum(column.name not in candidates for column in ignored)
    questions = _questions(file, tables, schema, found)
    head = [f"# How {file.name} is read, drafted from its headers; `liftseries check` refuses it while a ? is left."]
    head += [f"# Ask the centre: {question}" for question in questions]
    text = "\n".join([*head, *_of_the_file(file, tables), *(lines if len(lines) > 1 else []), *_ignored(ignored)])
    return Draft(text + "\n", tuple(tables), questions, n_certain, n_doubtful + (1 if tables else 0))


def quoted(text: object) -> str:
    """A text as YAML takes it for a text, whatever it looks like."""
    return json.dumps(str(text), ensure_ascii=False)


def _serves(found: Mapping[str, list[Match]], table: Table) -> bool:
    own = [name for name in table.columns if name not in (*table.key, *table.references)]
    certain = [name for name in found if found[name] and found[name][0].certain]
    n_own = sum(name in own for name in certain)
    return n_own >= SERVED


def _line(column: str, candidates: list[Match], table: Table, by_name: Mapping[str, FileColumn]) -> list[str] | None:
    if not candidates:
        a_key = f'    {column}: "?"  # no header is like it: a column, or `from` several with `join`'
        return [a_key] if column in table.key or column in table.references else None
    first, of_schema = candidates[0], table.columns[column]
    if not first.certain:
        shown = "; ".join(f"{quoted(m.header)} ({by_name[m.header].shape})" for m in candidates[:SHOWN_CANDIDATES])
        return [f'    {column}: "?"  # {shown}']
    of_file = by_name[first.header]
    words, n_others = words_of(of_file, of_schema) if of_schema.type == "category" else ({}, 0)
    unit = of_file.unit if (factor_of(of_schema, of_file.unit) or 1) != 1 else ""
    comment = f"  # {of_file.shape}"
    if n_others:
        comment += f"; {n_others} word{'s' if n_others > 1 else ''} to be given a level under `words`"
    if not words and not unit and not n_others:
        same = folded_name(first.header) == column
        return [] if same else [f"    {column}: {quoted(first.header)}{comment}"]
    parts = [f"from: {quoted(first.header)}"]
    parts += [f"unit: {quoted(unit)}"] if unit else []
    if words:
        parts.append(f"words: {{{', '.join(f'{quoted(word)}: {quoted(level)}' for word, level in words.items())}}}")
    return [f"    {column}: {{{', '.join(parts)}}}{comment}"]


def _each(groups: Mapping[float, Mapping[str, list[str]]]) -> list[str]:
    lines = ["    each:"]
    for months in sorted(groups):
        parts = [f"months: {months}"]
        for column, headers in groups[months].items():
            parts.append(f"{column}: {quoted(headers[0]) if len(headers) == 1 else quoted('?')}")
        lines.append(f"      - {{{', '.join(parts)}}}")
    return lines


def _of_the_file(file: LookedAt, tables: list[str]) -> list[str]:
    lines = []
    if file.header_rows:
        lines.append(f"header_rows: [{', '.join(map(str, file.header_rows))}]")
    if file.encoding:
        lines.append(f"encoding: {quoted(file.encoding)}")
    if file.separator:
        lines.append(f"separator: {quoted(file.separator)}")
    if file.decimal:
        lines.append(f"decimal: {quoted(file.decimal)}")
    if tables:
        lines.append('prefix: "?"  # such as "N" where ids are unlike only in this file; else delete the line')
    return lines


def _ignored(columns: list[FileColumn]) -> list[str]:
    if not columns:
        return []
    lines = [
        "# Columns without a place: give each one above, or keep it here without the `? `, not to be read.",
        "ignore:",
    ]
    return [
        *lines,
        *(f"  - {quoted(f'? {column.name}')}  # {column.shape}, {column.n_filled} filled" for column in columns),
    ]


def _questions(
    file: LookedAt, tables: list[str], schema: Mapping[str, Table], found: Mapping[str, Mapping[str, list[Match]]]
) -> tuple[str, ...]:
    """What no file tells."""
    asked = []
    if tables:
        asked.append("are patient, site and operator ids unlike those of every other centre? (`prefix`)")
        asked.append("what does an empty cell mean: no, none, or that nobody recorded it? (`empty_means`)")
    if len(tables) > 1:
        asked.append(
            "is every row of the file meant for every table, or does a column say what a row is? (`only_rows`)"
        )
    signs = {
        sign for column in file.columns for cell in column.cells for t in tables for c in schema[t].columns.values()
        if (sign := missing_word(cell, c))
    } - {str(level) for t in schema for c in schema[t].columns.values() for level in c.levels}  # fmt: skip
    if signs:
        shown = ", ".join(quoted(sign) for sign in sorted(signs))
        asked.append(f"does {shown} mean that a value is missing? (`not_recorded` or `not_applicable`)")
    for name in tables:
        missing = [c for c, column in schema[name].columns.items() if not column.may_be_absent and not found[name][c]]
        missing = [c for c in missing if not (name == "visits" and visits_in_columns(file.columns, schema[name]))]
        if missing and not (name == "visits" and missing == ["months"]):
            asked.append(f"{name}: where is {', '.join(missing)}? (a column, `constants`, or `not_collected`)")
    return tuple(asked)
