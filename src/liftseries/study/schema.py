"""What each column holds, read from `schemas/`: the single source for check, dictionary, models and labels.

Six tables are handed in (`read_schema`), for an audit those of its cycle too (`audit_schema`); what a run works out of
them stands in `schemas/derived.yaml` (`derived_schema`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from liftseries.base.home import folder
from liftseries.base.plain_yaml import load_shipped_yaml

UNKNOWN = "unknown"  # the level that counts as missing
TABLES = ("patients", "sites", "steps", "visits", "instruments", "stops")
AUDIT_TABLES = ("actions", "responses", "changes")  # the audit's cycle, read for an audit alone
EVERY_TABLE = (*TABLES, *AUDIT_TABLES)


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
    # Places in two tables of the report, 0 = not there. Ten apart, so that a new column finds one in between.
    described: int = 0  # characteristics: of patients, or of sites and what is worked out of them
    gaps_shown: int = 0  # missing values, the patients' before the sites'

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

    @property
    def is_label(self) -> bool:
        """A number that names something: an average tooth means nothing."""
        return self.type == "integer" and bool(self.levels)

    @property
    def reference_level(self) -> str:
        """The level that others are compared with; empty where only the data know it."""
        known = [str(level) for level in self.levels if str(level) != UNKNOWN]
        return self.reference or (known[0] if known else "")


@dataclass(frozen=True)
class DerivedColumn(Column):
    """A column that a run works out; its `measured` says how."""

    may_be_term: bool = False
    is_deviation: bool = False
    judged_from: str = ""  # of a deviation: what must be recorded for it to be judged
    cannot_occur: str = ""  # a subset of whose sites none shows the deviation: `approach=freehand`
    cuts: str = ""  # of a band: the column that it cuts
    short_title: str = ""  # of a band: its name before its limits, where that is not the title

    @property
    def reference_level(self) -> str:
        """As of a column that was handed in; what is true is compared with what is not."""
        return "no" if self.type == "true_false" else super().reference_level


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
    # Columns besides the keys in which a bare name is looked for -> what to enter instead.
    people: Mapping[str, str] = field(default_factory=dict)
    of_units: tuple[str, ...] = ()  # columns that hold a level of what `audit.by` names


@cache
def _shipped() -> dict[str, Table]:
    return {name: _table(_written(name)) for name in TABLES}


@cache
def derived_schema() -> dict[str, Table]:
    """What a run works out: `steps`, `sites` (as in derived/), `bands`, `adherence`, `visits`; of `DerivedColumn`s."""
    return {name: _table({"table": name, **entry}, DerivedColumn) for name, entry in _written("derived").items()}


@cache
def results_schema() -> dict[str, Table]:
    """What a run leaves beside the tables: `results` (results.csv) and `codebook`; columns are `DerivedColumn`s."""
    return {name: _table({"table": name, **entry}, DerivedColumn) for name, entry in _written("results").items()}


@cache
def audit_schema(by: str = "operator", own_indicators: tuple[str, ...] = ()) -> dict[str, Table]:
    """The tables of the audit's cycle: `actions`, `responses`, `changes`.

    Parameters
    ----------
    by : the column that `audit.by` names; where it holds operators, so does `unit`
    own_indicators : names of a committee's own, which may be acted on and replied to like the shipped ones
    """
    tables = {name: _with_indicators(_table(_written(name)), own_indicators) for name in AUDIT_TABLES}
    if by == "operator":
        told = "Replace it by the operator's pseudonym"
        tables = {
            name: replace(table, people={**table.people, **dict.fromkeys(table.of_units, told)})
            for name, table in tables.items()
        }
    return tables


def _with_indicators(table: Table, names: tuple[str, ...]) -> Table:
    column = table.columns.get("indicator")
    if column is None or not names:
        return table
    levels = tuple(dict.fromkeys((*column.levels, *names)))
    return replace(table, columns={**table.columns, "indicator": replace(column, levels=levels)})


def indicator_names() -> tuple[str, ...]:
    """The indicators of an audit, in the order of schemas/indicators.yaml."""
    return tuple(_written("indicators")["indicators"])


def _written(name: str) -> dict[str, Any]:
    return load_shipped_yaml((folder("schemas") / f"{name}.yaml").read_text(encoding="utf-8"))


def _table(entry: Mapping[str, Any], kind: type[Column] = Column) -> Table:
    return Table(
        name=entry["table"],
        title=entry["title"],
        means=entry["means"],
        key=tuple(entry["key"]),
        references=entry.get("references", {}),
        may_be_missing=entry.get("may_be_missing", False),
        columns={name: _column(name, rest, kind) for name, rest in entry["columns"].items()},
        rules=tuple(Rule(**{**rule, "reads": tuple(rule["reads"])}) for rule in entry.get("rules", ())),
        people=entry.get("people", {}),
        of_units=tuple(name for name, rest in entry["columns"].items() if rest.get("levels_are") == "units"),
    )


def _column(name: str, entry: Mapping[str, Any], kind: type[Column]) -> Column:
    """`levels_are`: indicators, whose names stand elsewhere; units, which only the study's tables know."""
    levels = indicator_names() if entry.get("levels_are") == "indicators" else tuple(entry.get("levels", ()))
    return kind(name=name, **{**{key: rest for key, rest in entry.items() if key != "levels_are"}, "levels": levels})


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


def derived_terms(table: str) -> list[str]:
    """The columns of a table of `derived_schema` that may be terms of a model."""
    return [name for name, column in derived_schema()[table].columns.items() if column.may_be_term]


def columns_by_name(extra_columns: Mapping[str, Mapping[str, Mapping]] | None = None) -> dict[str, Column]:
    """Every column, handed in or worked out, as models and report know it.

    A name that several tables have is the first one's, in the contract's order; what is worked out goes before all.
    """
    handed_in = reversed(read_schema(extra_columns).values())
    return {
        name: column for table in (*handed_in, *derived_schema().values()) for name, column in table.columns.items()
    }


def listed_by(place: str, *tables: Table) -> tuple[str, ...]:
    """The tables' columns that have a place by `described` or `gaps_shown`, in its order."""
    placed = [column for table in tables for column in table.columns.values() if getattr(column, place)]
    return tuple(column.name for column in sorted(placed, key=lambda column: getattr(column, place)))
