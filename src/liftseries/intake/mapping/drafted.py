"""A file's reading as a draft in YAML: certain entries filled in, the others a `?`, the centre's questions on top."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from liftseries.base.numbers import counted
from liftseries.base.plain_yaml import load_yaml
from liftseries.intake.cells.units import factor_of
from liftseries.intake.cells.words import missing_word
from liftseries.intake.mapping.looked_at import LookedAt
from liftseries.intake.mapping.matching import FileColumn, Match, matches, visits_in_columns, words_of
from liftseries.intake.mapping.proposals import SURGERY, VISIT, Proposal, RowKinds, of_columns, row_kinds
from liftseries.study.form_problems import doubts
from liftseries.study.forms import folded_name
from liftseries.study.schema import Column, Table

SHOWN_CANDIDATES = 4
SERVED = 2  # columns of its own that a table must find in a file, besides keys and references
ROWS_OF = ("patients", "sites", "visits")  # of which a flat sheet may hold rows of several kinds


@dataclass(frozen=True)
class Draft:
    """The draft of one file."""

    text: str
    tables: tuple[str, ...]  # that the file seems to serve
    questions: tuple[str, ...]
    n_certain: int  # columns of the file
    n_doubtful: int  # entries that hold a ?


def drafted(file: LookedAt, schema: Mapping[str, Table]) -> Draft:
    """The draft of a file's reading.

    Parameters
    ----------
    file : its columns, and how it must be read
    schema : the tables, with the study's own columns
    """
    groups = visits_in_columns(file.columns, schema["visits"])
    in_groups = [of for group in groups.values() for of in group.values()]
    free = [column for column in file.columns if column.name not in {match.header for of in in_groups for match in of}]
    found = {name: matches(free, table) for name, table in schema.items()}
    kinds = row_kinds(free, *(_certain_columns(free, schema[name], found[name]) for name in ("sites", "visits")))
    if kinds and kinds.certain:
        free = [column for column in free if column.name != kinds.header]
        found = {name: matches(free, table) for name, table in schema.items()}
    made = {name: {one.column: one for one in of_columns(free, schema[name], found[name])} for name in schema}
    tables = _served(found, made, schema, bool(groups))
    kinds = kinds if kinds and {"sites", "visits"} <= set(tables) else None
    lines, placed = ["columns:"], {of[0].header for of in in_groups if _is_certain(of)}
    for name in tables:
        section, headers = _table_lines(file, schema[name], found[name], made[name], groups if name == "visits" else {})
        section += _each(groups, file) if groups and name == "visits" else []
        lines += [f"  {name}:", *section] if section else []
        placed |= headers
    placed |= {kinds.header} if kinds and kinds.certain else set()
    questions = _questions(file, tables, schema, found, made, kinds)
    head = [f"# How {file.name} is read, drafted from its headers; `liftseries check` refuses it while a ? is left."]
    head += [f"# Ask the centre: {question}" for question in questions]
    rows = _only_rows(kinds, tables) if kinds else []
    ignored = _ignored([column for column in file.columns if column.name not in placed])
    text = "\n".join([*head, *_of_the_file(file, tables), *rows, *(lines if len(lines) > 1 else []), *ignored]) + "\n"
    return Draft(text, tuple(tables), questions, len(placed), len(list(doubts(load_yaml(text)))))


def _certain_columns(columns: list[FileColumn], table: Table, found: Mapping[str, list[Match]]) -> list[FileColumn]:
    """Columns of the file that are certain ones of a table, and that no other table has as its key."""
    own = {name for name, column in table.columns.items() if not _names_a_row(name, column, table)}
    sure = {of[0].header for name, of in found.items() if name in own and of and of[0].certain}
    return [column for column in columns if column.name in sure]


def _served(
    found: Mapping[str, Mapping[str, list[Match]]],
    made: Mapping[str, Mapping[str, Proposal]],
    schema: Mapping[str, Table],
    has_groups: bool,
) -> list[str]:
    """The tables that a file seems to serve: each by headers of its own, of which none speaks for two tables."""
    own: dict[str, set[str]] = {}
    for name, table in schema.items():
        columns = [key for key, column in table.columns.items() if not _names_a_row(key, column, table)]
        own[name] = {of[0].header for column in columns if (of := found[name][column]) and of[0].certain}
        own[name] |= {header for one in made[name].values() if one.certain for header in one.sources}
    taken: set[str] = set()
    served = {"visits"} if has_groups else set()
    for name in sorted(own, key=lambda name: -len(own[name])):
        if len(own[name] - taken) >= SERVED:
            served.add(name)
            taken |= own[name]
    return [name for name in schema if name in served]


def _names_a_row(name: str, column: Column, table: Table) -> bool:
    """A key or reference that other tables have, too; months and the number of a step are a table's own."""
    return name in table.references or (name in table.key and column.type == "text")


def _table_lines(
    file: LookedAt,
    table: Table,
    found: Mapping[str, list[Match]],
    made: Mapping[str, Proposal],
    groups: Mapping[int, Mapping[str, list[Match]]],
) -> tuple[list[str], set[str]]:
    """The entries of a table, and the headers that are certain in them."""
    by_name, lines, placed = {column.name: column for column in file.columns}, [], set()
    in_groups = {column for group in groups.values() for column in ("months", *group)}
    for column, candidates in found.items():
        if column in in_groups:
            continue
        if column in made:
            proposal = made[column]
            lines.append(_proposed(proposal, by_name))
            placed |= set(proposal.sources) if proposal.certain else set()
            continue
        line = _line(column, candidates, table, by_name)
        placed |= {candidates[0].header} if candidates and candidates[0].certain else set()
        lines += line or []
    return lines, placed


def _proposed(proposal: Proposal, by_name: Mapping[str, FileColumn]) -> str:
    sources = [quoted(header) for header in proposal.sources]
    shown = f"from: {sources[0] if len(sources) == 1 else '[' + ', '.join(sources) + ']'}"
    entry = f"{{{shown}, {proposal.form[0]}: {proposal.form[1]}}}"
    if proposal.certain:
        return f"    {proposal.column}: {entry}  # {by_name[proposal.sources[0]].shape}"
    return f'    {proposal.column}: "?"  # perhaps {entry} ({by_name[proposal.sources[0]].shape})'


def _only_rows(kinds: RowKinds, tables: list[str]) -> list[str]:
    """Which rows are surgeries and which are visits, or the question."""
    of_table = {name: kinds.words[VISIT if name == "visits" else SURGERY] for name in tables if name in ROWS_OF}
    entries = {
        name: f"{{{quoted(kinds.header)}: [{', '.join(map(quoted, words))}]}}" for name, words in of_table.items()
    }
    if kinds.certain:
        return ["only_rows:", *(f"  {name}: {entry}" for name, entry in entries.items())]
    shown = ", ".join(f"{name}: {entry}" for name, entry in entries.items())
    others = f"; {counted(kinds.n_others, 'other word')} in the column" if kinds.n_others else ""
    return [f'only_rows: "?"  # perhaps {{{shown}}}{others}; delete the line where every row is meant for every table']


def quoted(text: object) -> str:
    """A text as YAML takes it for a text, whatever it looks like."""
    return json.dumps(str(text), ensure_ascii=False)


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


def _is_certain(found: list[Match]) -> bool:
    return len(found) == 1 and found[0].certain


def _each(groups: Mapping[int, Mapping[str, list[Match]]], file: LookedAt) -> list[str]:
    lines, shapes = ["    each:"], {column.name: column.shape for column in file.columns}
    for months in sorted(groups):
        group = groups[months]
        parts = [f"{name}: {quoted(of[0].header) if _is_certain(of) else quoted('?')}" for name, of in group.items()]
        asked = [match.header for of in group.values() if not _is_certain(of) for match in of]
        shown = "; ".join(f"{quoted(header)} ({shapes[header]})" for header in asked)
        lines.append(f"      - {{{', '.join([f'months: {months}', *parts])}}}" + (f"  # {shown}" if asked else ""))
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
    file: LookedAt,
    tables: list[str],
    schema: Mapping[str, Table],
    found: Mapping[str, Mapping[str, list[Match]]],
    made: Mapping[str, Mapping[str, Proposal]],
    kinds: RowKinds | None,
) -> tuple[str, ...]:
    """What no file tells."""
    asked = []
    if tables:
        asked.append("are patient, site and operator ids unlike those of every other centre? (`prefix`)")
        asked.append("what does an empty cell mean: no, none, or that nobody recorded it? (`empty_means`)")
    if len(tables) > 1 and not (kinds and kinds.certain):
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
        missing = [c for c in missing if c not in made[name]]
        missing = [c for c in missing if not (name == "visits" and visits_in_columns(file.columns, schema[name]))]
        if missing and not (name == "visits" and missing == ["months"]):
            asked.append(f"{name}: where is {', '.join(missing)}? (a column, `constants`, or `not_collected`)")
    return tuple(asked)
