"""A centre's folder of tables to a new folder without identifiers and dates; nothing of the old one is touched.

Every column has one fate: coded, turned from dates, written as far as it may, kept or dropped; the log tells which.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from liftseries.base.errors import Problem, StudyError, UsageError
from liftseries.base.outputs import remake_folder, write_csv
from liftseries.pseudonyms.alone import said_of
from liftseries.pseudonyms.days import days_of_sites, read_date_columns
from liftseries.pseudonyms.fates import Fates, fate_of
from liftseries.pseudonyms.files import tables_of
from liftseries.pseudonyms.labels import kept_texts, known_units
from liftseries.pseudonyms.scopes import code_identifiers
from liftseries.pseudonyms.tables import CentreTable, Options, name_columns
from liftseries.pseudonyms.told import Remark, gathered
from liftseries.study.schema import Table, audit_schema, read_schema

LOG = "pseudonymise_log.csv"
SHARED = ("instruments", "stops")  # tables of things, of which two centres may have the same row


@dataclass(frozen=True)
class Pseudonymised:
    """What was made, and what is told of it."""

    log: pd.DataFrame  # without values: file, column, done, filled and written (how many cells hold something)
    told: list[Problem]  # one a cause, in the order of tables
    shown: list[str]  # texts that were kept and levels of declared columns, for the user to look at
    last: str  # how many patients stand alone
    n_tables: int


def check_folders(source: Path, target: Path) -> None:
    """Refuses what would overwrite or mix.

    Raises
    ------
    UsageError
    """
    if not source.exists():
        raise UsageError(f"{source} is not there. Name the folder or file with the centre's tables.")
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise UsageError(f"{target} is there already. Name a folder that is empty or not yet there.")
    home = (source if source.is_dir() else source.parent).resolve()
    if source.is_dir() and (target.resolve().is_relative_to(home) or home.is_relative_to(target.resolve())):
        raise UsageError(f"{target} and {source} lie in each other. Keep them apart.")


def pseudonymise(source: Path, target: Path, key: bytes, options: Options | None = None) -> Pseudonymised:
    """Writes the tables without identifiers, and the log.

    Parameters
    ----------
    source : a folder of tables, or one file
        A file is known by the name of its table in its own, as in `patients_north.csv`; a workbook by its sheets.
    target : the folder to make
    key : 32 bytes
    options

    Raises
    ------
    StudyError
        What leaves unclear how to go on: a file that cannot be read, dates whose order nobody can tell, a number that
        stands for two patients. A cell that may not be written is no problem; it is left blank and told.
    """
    check_folders(source, target)
    options = options or Options()
    problems: list[Remark] = []
    told: list[Remark] = []
    schema = {**read_schema(options.extra_columns), **audit_schema()}
    files = tables_of(source, schema, options.reading, problems, told)
    for file in files:
        name_columns(file, problems, told)
        read_date_columns(file, options, problems, told)
    asked = options.keep | options.drop | options.replace
    for name in sorted(asked - {name for file in files for name in file.named}):
        problems.append(Remark("command line", f"no table has the column {name}. Correct the name."))
    code_identifiers(files, key, options.centre, problems, told)
    kept = kept_texts(files, options, problems, told)
    if problems:
        raise StudyError(gathered(problems))
    fates = Fates(key, options, kept, days_of_sites(files), known_units(files, key, kept), told)
    tables, log = _made(files, schema, fates)
    _write(target, tables, log)
    shown = kept.shown + _levels_shown(tables, schema)
    return Pseudonymised(log, gathered(told), shown, said_of(tables), len(tables))


def _made(
    files: list[CentreTable], schema: Mapping[str, Table], fates: Fates
) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """The tables to write, files of one table stacked, and the log."""
    pieces: dict[str, list[pd.DataFrame]] = defaultdict(list)
    lines = []
    for file in files:
        columns = {}
        for name in file.named:
            fate = fate_of(file, name, fates)
            written = 0
            if fate.values is not None:
                columns[fate.name] = fate.values
                written = sum(value is not None for value in fate.values)
            lines.append([f"{file.table.name}.csv", fate.name, fate.done, fate.filled, written])
        pieces[file.table.name].append(pd.DataFrame(columns, index=range(len(file)), dtype=object))
    tables = {name: _sorted(pd.concat(parts, ignore_index=True), schema[name]) for name, parts in pieces.items()}
    _tell_twins_of_visits(tables, fates.told)
    log = pd.DataFrame(lines, columns=["file", "column", "done", "filled", "written"])
    return tables, log.groupby(["file", "column", "done"], sort=False, as_index=False).sum()


def _sorted(table: pd.DataFrame, schema: Table) -> pd.DataFrame:
    """By key, ties by all else, since the order of rows is often that of dates; columns as in the schema."""
    known = [name for name in schema.columns if name in table]
    table = table[[*known, *sorted(set(table) - set(known))]].astype(object)
    table = table.where(table.notna(), None)
    if schema.name in SHARED:
        table = table.drop_duplicates()
    by = pd.DataFrame(index=table.index)
    for name in (name for name in schema.key if name in table):
        is_number = schema.columns[name].type in ("number", "integer")
        by[name] = pd.to_numeric(table[name]) if is_number else [cell or "~" for cell in table[name]]
    by["rest"] = ["\0".join(cell or "" for cell in row) for row in table.itertuples(index=False)]
    return table.loc[by.sort_values(list(by), kind="stable").index].reset_index(drop=True)


def _tell_twins_of_visits(tables: Mapping[str, pd.DataFrame], told: list[Remark]) -> None:
    visits = tables.get("visits")
    if visits is None or not {"site_id", "months"} <= set(visits):
        return
    known = visits.dropna(subset=["site_id", "months"])
    if n := int(known.duplicated(["site_id", "months"]).sum()):
        message = (
            f"{n} have the site and months of another, to the tenth of a month that is written; `check` will refuse "
            "them. Leave one of each two out."
        )
        told.append(Remark("visits", message))


def _levels_shown(tables: Mapping[str, pd.DataFrame], schema: Mapping[str, Table]) -> list[str]:
    return [
        f"{column.name}: a column of the study's own; its levels are {', '.join(map(str, column.levels))}."
        for name, table in tables.items()
        for column in schema[name].columns.values()
        if column.own and column.levels and column.name in table
    ]


def _write(target: Path, tables: Mapping[str, pd.DataFrame], log: pd.DataFrame) -> None:
    with remake_folder(target) as folder:
        for name, table in tables.items():
            write_csv(folder / f"{name}.csv", table)
        write_csv(folder / LOG, log)
