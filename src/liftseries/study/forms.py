"""The forms of reading: how the columns and rows of a file become those of the tables, as study.yaml says it.

A closed list, without expressions. What a form does to cells stands in `intake/forms`; here is what may be asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

PREFIXED = ("patient_id", "site_id", "operator")
TEXT_WITH_WORDS = ("centre", "operator", "protocol", "instrument_id", "stop_id")  # text whose words `levels` may name
OUTCOMES = ("perforation", "status", "complication")
HEIGHTS = ("rbh_min_mm", "rbh_max_mm", "bone_height_post_mm", "bone_height_mm", "marginal_bone_mm", "read_depth_mm")
LOWEST, HIGHEST, MEAN = TAKES = ("lowest", "highest", "mean")
OF_DATES = ("year", "age", "months_between")  # taken where pseudonyms are made, nowhere else
REPEATED = ("first", "last")
EACH = "each"
DOUBT = "?"
SEPARATORS = {"tab": "\t", "comma": ",", "semicolon": ";", "bar": "|"}


@dataclass(frozen=True)
class ColumnForm:
    """Where the cells of one column come from, and what is done to them, in the order of the fields."""

    sources: tuple[str, ...]  # column names of the file
    words: Mapping[str, Any] = field(default_factory=dict)  # exact cell -> what it means
    missing: tuple[str, ...] = ()  # exact cells that hold no value
    part: int = 0  # the first or second number of `4.2 x 8`; 0 = the whole cell
    join: str | None = None  # what stands between the cells of several columns
    take: str = ""  # lowest, highest, mean of several columns
    unit: str = ""  # of the file's numbers, where it is another one than the column's
    repeated: str = ""  # first, last: which of several rows of a key counts


@dataclass(frozen=True)
class Group:
    """Columns of a file that make one row: `{months: 6, status: status 6m}`."""

    numbers: Mapping[str, float]  # the same in every such row
    columns: Mapping[str, ColumnForm]


@dataclass(frozen=True)
class Forms:
    """All forms of one file; empty where it is read as it stands."""

    header_rows: tuple[int, ...] = ()
    prefix: str = ""
    encoding: str = ""
    separator: str = ""
    decimal: str = ""
    only_rows: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()
    constants: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    not_collected: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    empty_means: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    columns: Mapping[str, Mapping[str, ColumnForm]] = field(default_factory=dict)
    each: Mapping[str, tuple[Group, ...]] = field(default_factory=dict)
    common: frozenset[str] = frozenset()  # columns of files that only `reading` names: a file may lack them
    common_empty_means: frozenset[tuple[str, str]] = frozenset()  # (table, column): likewise

    def changes(self, table: str) -> bool:
        """Whether a table of the file is anything else than its columns as they stand."""
        asked = (self.only_rows, self.constants, self.not_collected, self.empty_means, self.columns, self.each)
        return bool(self.prefix or self.decimal or self.ignore) or any(form.get(table) for form in asked)

    def sources(self, table: str) -> list[str]:
        """The columns of the file that a table is made of, by their names there, each once."""
        named = [source for form in self.columns.get(table, {}).values() for source in form.sources]
        named += [
            source for group in self.each.get(table, ()) for form in group.columns.values() for source in form.sources
        ]
        return list(dict.fromkeys([*named, *self.only_rows.get(table, {})]))


def folded_name(name: object) -> str:
    """A column's name in a file as it is compared: letter case, line breaks and runs of blanks do not matter."""
    import unicodedata

    return " ".join(unicodedata.normalize("NFKC", str(name)).replace("\ufeff", "").split()).casefold()


def forms_of(filled: Mapping[str, Any], common: frozenset[str] = frozenset()) -> Forms:
    """The forms of a section that is checked, typed."""
    columns, each = {}, {}
    for table, entries in filled["columns"].items():
        columns[table] = {name: column_form(entry) for name, entry in entries.items() if name != EACH}
        if groups := entries.get(EACH):
            each[table] = tuple(map(_group, groups))
    return Forms(
        header_rows=tuple(filled["header_rows"]),
        prefix=filled["prefix"],
        encoding=filled["encoding"],
        separator=SEPARATORS.get(filled["separator"], filled["separator"]),
        decimal=filled["decimal"],
        only_rows={
            table: {name: tuple(words) for name, words in of_table.items()}
            for table, of_table in filled["only_rows"].items()
        },
        ignore=tuple(filled["ignore"]),
        constants=filled["constants"],
        not_collected={table: tuple(names) for table, names in filled["not_collected"].items()},
        empty_means=filled["empty_means"],
        columns=columns,
        each=each,
        common=common,
    )


def column_form(entry: str | Mapping[str, Any]) -> ColumnForm:
    """An entry of `columns` that is checked: a name of the file's, or keys."""
    if isinstance(entry, str):
        return ColumnForm((entry,))
    sources = entry["from"]
    return ColumnForm(
        sources=(sources,) if isinstance(sources, str) else tuple(sources),
        words=entry.get("words", {}),
        missing=tuple(entry.get("missing", ())),
        part=entry.get("part", 0),
        join=entry.get("join"),
        take=entry.get("take", ""),
        unit=entry.get("unit", ""),
        repeated=entry.get("repeated", ""),
    )


def _group(entry: Mapping[str, Any]) -> Group:
    numbers = {name: value for name, value in entry.items() if isinstance(value, int | float)}
    return Group(numbers, {name: column_form(value) for name, value in entry.items() if name not in numbers})
