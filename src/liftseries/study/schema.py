"""What each table may hold, read from `schemas/`: the single source for check, dictionary and labels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from liftseries.base.home import folder
from liftseries.base.plain_yaml import load_yaml

TABLES = ("patients", "sites", "steps", "visits", "instruments", "stops")
TYPES = ("text", "integer", "number", "category")


@dataclass(frozen=True)
class Column:
    """One column: everything known of it."""

    name: str
    type: str
    title: str
    means: str
    measured: str = ""
    example: str | int | float = ""  # those of all six tables make one case without a fault
    unit: str = ""
    levels: tuple = ()
    reference: str = ""  # the level that others are compared with; the first one where empty
    at_least: float | None = None
    at_most: float | None = None
    above: float | None = None
    optional: bool = False
    needed_when: str = ""  # an expression on the row's other columns
    allowed_when: str = ""
    condition: str = ""  # the two above, in words
    when_empty: str = ""  # what an empty cell stands for
    own: bool = False  # a study's own column, from extra_columns
    applies_when: str = ""  # an expression as above: elsewhere an empty cell is not applicable, not unrecorded
    notation: str = ""  # fdi: the numbers name teeth
    identifies: str = ""  # direct: points at one person; quasi: does so beside others; empty: neither
    known_from: str = ""  # who else knows the value: why it identifies

    @property
    def required(self) -> bool:
        """Every row needs a value."""
        return not (self.optional or self.needed_when)

    @property
    def applies(self) -> str:
        """The expression that says in which rows there is something to record; empty = in all."""
        return self.applies_when or self.allowed_when

    @property
    def may_be_absent(self) -> bool:
        """A table may do without the whole column."""
        return not self.required


@dataclass(frozen=True)
class Rule:
    """A check across the columns of one row."""

    rule: str
    column: str
    reads: tuple[str, ...]
    holds: str
    says: str
    do: str


@dataclass(frozen=True)
class Table:
    """One table: key, references to other tables, columns in order, rules."""

    name: str
    title: str
    means: str
    key: tuple[str, ...]
    columns: Mapping[str, Column]
    references: Mapping[str, str] = field(default_factory=dict)  # column -> table whose key it names
    may_be_missing: bool = False
    rules: tuple[Rule, ...] = ()


def _column(name: str, entry: Mapping[str, Any]) -> Column:
    entry = {**entry, "levels": tuple(entry.get("levels", ()))}
    return Column(name=name, **entry)


@cache
def _shipped() -> dict[str, Table]:
    return {name: _read(name) for name in TABLES}


def _read(name: str) -> Table:
    entry = load_yaml((folder("schemas") / f"{name}.yaml").read_text(encoding="utf-8"))
    return Table(
        name=entry["table"],
        title=entry["title"],
        means=entry["means"],
        key=tuple(entry["key"]),
        references=entry.get("references", {}),
        may_be_missing=entry.get("may_be_missing", False),
        columns={column: _column(column, rest) for column, rest in entry["columns"].items()},
        rules=tuple(Rule(**{**rule, "reads": tuple(rule["reads"])}) for rule in entry.get("rules", ())),
    )


def read_schema(extra_columns: Mapping[str, Mapping[str, Mapping]] | None = None) -> dict[str, Table]:
    """The six tables, with a study's own columns appended.

    Parameters
    ----------
    extra_columns : table -> column -> entry, as `extra_columns` of study.yaml

    Returns
    -------
    table name -> Table, in the contract's order
    """
    tables = dict(_shipped())
    for name, columns in (extra_columns or {}).items():
        own = {column: _own_column(column, entry) for column, entry in columns.items()}
        tables[name] = replace(tables[name], columns={**tables[name].columns, **own})
    return tables


def _own_column(name: str, entry: Mapping[str, Any]) -> Column:
    return Column(
        name=name,
        type=entry["type"],
        title=name,
        means=entry.get("description", "A column of the study's own."),
        unit=entry.get("unit", ""),
        levels=tuple(level if entry["type"] == "integer" else str(level) for level in entry.get("levels", ())),
        at_least=entry.get("at_least"),
        at_most=entry.get("at_most"),
        optional=not entry.get("required", False),
        own=True,
        identifies=entry.get("identifies", ""),
    )
