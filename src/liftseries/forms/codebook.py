"""The codebook: every column of clean/, derived/ and results.csv, a row each, from what schemas/ declares."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd

from liftseries.study.schema import Column, DerivedColumn, Table, derived_schema, results_schema

CODEBOOK, RESULTS = (results_schema()[name] for name in ("codebook", "results"))
BETWEEN_LEVELS = " | "


def codebook(schema: Mapping[str, Table], files: Mapping[str, Sequence[str]]) -> pd.DataFrame:
    """The codebook as a table; results.csv and itself come last.

    Parameters
    ----------
    schema : the tables that are handed in, with a study's own columns
    files : file of clean/ or derived/ -> its columns

    Raises
    ------
    KeyError
        A column is declared nowhere.
    """
    rows = [_row(file, column_of(file, name, schema)) for file, names in files.items() for name in names]
    for file, table in (("clean/codebook.csv", CODEBOOK), ("results.csv", RESULTS)):
        rows += [_row(file, column) for column in table.columns.values()]
    return pd.DataFrame(rows, columns=list(CODEBOOK.columns))


def column_of(file: str, name: str, schema: Mapping[str, Table]) -> Column:
    """The declaration of a column; in derived/ a key is that of the table it belongs to."""
    folder, table = Path(file).parts[0], Path(file).stem
    worked_out = derived_schema()[table].columns if folder == "derived" else {}
    handed_in = schema[table].columns if table in schema else {}
    keys = {key: parent.columns[key] for parent in schema.values() for key in parent.key if len(parent.key) == 1}
    return {**keys, **handed_in, **worked_out}[name]


def in_file(table: Table, columns: Iterable[str]) -> Table:
    """The table with the columns that a file has, in its order."""
    return replace(table, columns={name: table.columns[name] for name in columns})


def headers(path: Path | str) -> list[str]:
    """The column names of a CSV."""
    with Path(path).open(encoding="utf-8", newline="") as file:
        return next(csv.reader(file))


def _row(file: str, column: Column) -> tuple[str, ...]:
    how = f" Worked out: {column.measured}." if isinstance(column, DerivedColumn) and column.measured else ""
    levels = BETWEEN_LEVELS.join(map(str, column.levels))
    return file, column.name, column.type, column.unit, levels, f"{column.means}{how}", _when_empty(column)


def _when_empty(column: Column) -> str:
    if column.when_empty or column.condition:
        return column.when_empty or column.condition
    if isinstance(column, DerivedColumn):
        return "never"
    return "never" if column.required else "not recorded"
