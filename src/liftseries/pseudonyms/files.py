"""A centre's files: which tables each holds, by its name, its sheets or a file of reading; no name stands in a message.

A file's name may be somebody's, so messages call it by its table, or by its place among the files in order of name.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from liftseries.intake.files.grid import Unreadable
from liftseries.intake.files.read_sheet import read_sheet
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.files.workbook_parts import Workbook
from liftseries.intake.forms.mapped import mapped
from liftseries.pseudonyms.codes import spelling
from liftseries.pseudonyms.reading_file import tables_read
from liftseries.pseudonyms.tables import NAMES_OF_DATES, CentreTable
from liftseries.pseudonyms.told import Remark
from liftseries.study.forms import folded_name
from liftseries.study.plan_files import Source
from liftseries.study.reading import Reading
from liftseries.study.schema import EVERY_TABLE, Table

ENDINGS = (".csv", ".txt", ".xlsx", ".xlsm", ".parquet")
WORKBOOKS = (".xlsx", ".xlsm")


def tables_of(
    source: Path, schema: Mapping[str, Table], reading: Reading, problems: list[Remark], told: list[Remark]
) -> list[CentreTable]:
    """The tables of a folder, or of one file, in the order of `schema`; what is none is a problem."""
    paths = sorted(path for path in (source.iterdir() if source.is_dir() else [source]) if not _is_hidden(path))
    found: dict[str, list[CentreTable]] = {table: [] for table in schema}
    for number, path in enumerate(paths, start=1):
        file = f"file {number} by name" if len(paths) > 1 else "the file"
        if not path.is_file() or path.suffix.lower() not in ENDINGS:
            message = "is no table: neither CSV, XLSX nor Parquet. Take it out of the folder, or name a file alone."
            problems.append(Remark(file, message))
            continue
        try:
            for table, sheet, group in _sheets_of(path, file, schema, reading, problems, told):
                found[table].append(CentreTable(schema[table], sheet, table, group))
        except Unreadable as error:
            problems.append(Remark(error.place, error.message))
    return [file for table, files in found.items() for file in _called(table, files, problems, told)]


def _is_hidden(path: Path) -> bool:
    return path.name.startswith((".", "~$"))


def _called(table: str, files: list[CentreTable], problems: list[Remark], told: list[Remark]) -> Iterator[CentreTable]:
    """The files of a table by what messages call them, what is wrong with each as a whole told."""
    for number, file in enumerate(files, start=1):
        called = f"{table}, file {number}" if len(files) > 1 else table
        if beside := file.sheet.beside:
            told.append(Remark(called, "titles and rows of units beside the table: dropped.", row=min(beside)))
        for fault in file.sheet.faults:
            place = fault.place.removeprefix(file.sheet.shown)
            problems.append(Remark(place if place == fault.place else f"{called}{place}", fault.message))
        sheet = replace(file.sheet, shown=called)
        for at in sheet.ragged:
            message = "more or fewer cells than column names. Mend the row."
            problems.append(Remark(called, message, row=int(sheet.rows[at])))
        yield replace(file, sheet=sheet, file=called)


def _sheets_of(
    path: Path,
    file: str,
    schema: Mapping[str, Table],
    reading: Reading,
    problems: list[Remark],
    told: list[Remark],
) -> Iterator[tuple[str, Sheet, str]]:
    """Table, sheet and group of all that a file holds."""
    if path.suffix.lower() in WORKBOOKS:
        with Workbook(path, file) as book:
            parts = book.sheets
        tables = {part.title: _title(part) for part in parts if _title(part) in EVERY_TABLE}
        if tables:
            if any(part.is_hidden for part in parts if part.title in tables):
                problems.append(Remark(file, "a hidden sheet bears a table's name. Unhide or remove it."))
            if others := len(parts) - len(tables):
                message = f"{others} of its sheets bear no table's name: dropped. Rename one that is a table."
                told.append(Remark(file, message))
            for title, table in tables.items():
                source = Source(f"{file}#{title}", path, title)
                yield from _read(source, file, [table], schema, reading, _group(path, ""))
            return
    words = re.findall(r"[a-z]+", path.stem.lower())
    named = [table for table in EVERY_TABLE if table in words]
    by_forms = _tables_of_forms(reading)
    tables = named if len(named) == 1 else by_forms
    if not tables:
        known = ", ".join(EVERY_TABLE)
        message = (
            f"which table is it? Name the file or its sheets after one of {known}: patients_north.csv; or say with "
            "--reading what its columns are."
        )
        raise Unreadable(file, message)
    yield from _read(Source(file, path, None), file, tables, schema, reading, _group(path, *named[: len(named) == 1]))


def _tables_of_forms(reading: Reading) -> list[str]:
    """The tables that a file of reading makes of a file."""
    forms = reading.forms
    asked = {*forms.columns, *forms.each, *forms.only_rows}
    return [table for table in EVERY_TABLE if table in asked]


def _read(
    source: Source, file: str, tables: Sequence[str], schema: Mapping[str, Table], reading: Reading, group: str
) -> Iterator[tuple[str, Sheet, str]]:
    """One file as the sheet of each of its tables, in the dictionary's header where forms say so."""
    forms, extended = reading.forms, tables_read(schema, reading.forms)
    names = {name for table in tables for name in (*schema[table].columns, *NAMES_OF_DATES.get(table, ()))}
    names |= {folded_name(name) for table in tables for name in (*forms.sources(table), *forms.ignore)}
    sheet = read_sheet(source, tables[0], names, reading.hidden, forms)
    sheet = replace(
        sheet, shown=file, faults=[replace(fault, place=_of(fault.place, sheet, file)) for fault in sheet.faults]
    )
    sharing = {table: extended[table] for table in tables}
    for number, table in enumerate(tables):
        texts = [
            name
            for name in reading.levels
            if name in schema[table].columns and schema[table].columns[name].type == "text"
        ]
        one = sheet if not number else replace(sheet, faults=[], decisions=[], beside={})
        is_asked = len(tables) > 1 or forms.changes(table) or texts
        yield table, mapped(one, extended[table], reading, sharing) if is_asked else one, group


def _of(place: str, sheet: Sheet, file: str) -> str:
    return file + place.removeprefix(sheet.shown) if place.startswith(sheet.shown) else file


def _title(part) -> str:
    return part.title.strip().lower()


def _group(path: Path, table: str = "") -> str:
    stem = spelling(path.stem)
    return re.sub(r"[\W_]+", " ", stem.replace(table, " ", 1) if table else stem).strip()
