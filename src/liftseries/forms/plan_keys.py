"""The plan's keys for readers and editors: Markdown table, commented study.yaml, JSON Schema."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

from liftseries.study.plan_shape import plan_schema

OWN_COLUMN = "sites: {flapless: {type: category, levels: [no, yes], description: ...}}"

A_FILE = "files: {north.xlsx: reading/north.yaml}"


def key_table() -> str:
    """Every key of study.yaml with its default and meaning, as a Markdown table."""
    lines = ["| key | default | meaning |", "|---|---|---|"]
    for path, entry in _leaves(plan_schema()):
        default = f"`{_flow(entry['default'])}`" if "default" in entry else "none"
        lines.append(f"| `{'.'.join(path)}` | {default} | {entry['description']} |")
    return "\n".join(lines) + "\n"


def json_schema() -> str:
    """schemas/plan.yaml as JSON for editors; there one file or purpose may stand without a list."""
    schema = json.loads(json.dumps(plan_schema()))
    named = schema["properties"]
    named["purpose"] = _one_or_list(named["purpose"])
    files = named["tables"]["properties"]
    named["tables"]["properties"] = {table: _one_or_list(entry) for table, entry in files.items()}
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def commented_plan(tables: Mapping[str, str], extra_columns: Mapping[str, Mapping] | None = None) -> str:
    """A study.yaml with every key at its default, each below a comment that says what it does.

    Parameters
    ----------
    tables : table -> file
    extra_columns : table -> column -> entry
        The study's own columns, where it has any.
    """
    lines = ["# The plan of a study. Every key but `tables` may be left out; then the value below holds."]
    for key, entry in plan_schema()["properties"].items():
        lines += ["", f"# {entry['description']}"]
        if key == "tables":
            lines += ["tables:", *(f"  {table}: {file}" for table, file in tables.items())]
        elif key == "extra_columns":
            # JSON is YAML too, and quotes what a description may hold.
            own = json.dumps(extra_columns or {}, ensure_ascii=False)
            lines += [f"#   {OWN_COLUMN}", f"extra_columns: {own}"]
        elif key == "files":
            lines.append(f"#   {A_FILE}")  # not written, so that `liftseries map --add` may append it
        else:
            lines += _commented(key, entry, 0)
    return "\n".join(lines) + "\n"


def _leaves(schema: Mapping[str, Any], above: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Mapping]]:
    for key, entry in schema["properties"].items():
        if "properties" in entry and key != "tables":
            yield from _leaves(entry, (*above, key))
        else:
            yield (*above, key), entry


def _commented(key: str, entry: Mapping[str, Any], depth: int) -> list[str]:
    indent = "  " * depth
    if "properties" not in entry:
        return [f"{indent}{key}: {_flow(entry['default'])}"]
    lines = [f"{indent}{key}:"]
    for inner, inner_entry in entry["properties"].items():
        lines += [f"{indent}  # {inner_entry['description']}", *_commented(inner, inner_entry, depth + 1)]
    return lines


def _flow(value: Any) -> str:
    """On one line, as it would stand in study.yaml."""
    ends_early = isinstance(value, str) and bool(re.search(r"[:#{}\[\],]", value))
    return json.dumps(value, ensure_ascii=False) if value == "" or ends_early else _unquoted(value)


def _unquoted(value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(map(_unquoted, value))}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{key}: {_unquoted(entry)}' for key, entry in value.items())}}}"
    return "null" if value is None else str(value)


def _one_or_list(entry: Mapping[str, Any]) -> dict[str, Any]:
    about = {key: entry[key] for key in ("description", "default") if key in entry}
    listed = {key: value for key, value in entry.items() if key not in about}
    return {**about, "anyOf": [entry["items"], listed]}
