"""A centre's tables as they came: which file holds which table, what it is called in messages, its columns by name."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from liftseries.intake.files.grid import BLANKS, Unreadable, is_blank, letters
from liftseries.intake.files.sheet import Sheet, read_sheet
from liftseries.intake.files.workbook_parts import Workbook
from liftseries.intake.identifiers.kinds import Kind
from liftseries.intake.identifiers.search import kind_of_header
from liftseries.pseudonyms.codes import is_identifier, spelling
from liftseries.pseudonyms.told import Remark
from liftseries.study.plan_files import Source
from liftseries.study.reading import Reading
from liftseries.study.schema import EVERY_TABLE, Table

ENDINGS = (".csv", ".txt", ".xlsx", ".xlsm", ".parquet")
# Table -> what a column of dates may be called -> its name here.
NAMES_OF_DATES = {
    "patients": {name: "birth_date" for name in ("birth_date", "date_of_birth", "dob")},
    "sites": {name: name for name in ("surgery_date", "placement_date")},
    "visits": {"date": "visit_date", "visit_date": "visit_date"},
}


@dataclass(frozen=True)
class Options:
    """What the user says of columns and dates."""

    order: str | None = None  # how texts that are dates were typed
    keep: frozenset[str] = frozenset()
    drop: frozenset[str] = frozenset()
    replace: frozenset[str] = frozenset()
    centre: str = ""  # of patients whose table does not say it
    smallest_cell: int = 5  # patients that a kept text needs
    extra_columns: Mapping[str, Mapping[str, Mapping]] = field(default_factory=dict)  # as in study.yaml
    reading: Reading = field(default_factory=Reading)


@dataclass
class CentreTable:
    """One table of one file; its cells have their rows in the order of the file."""

    table: Table
    sheet: Sheet
    file: str  # `sites, file 2`: the file's own name may be somebody's
    group: str  # what the file's name has beside the table's, in small letters: what goes together
    named: dict[str, int] = field(default_factory=dict)  # name in small letters -> position
    dates: dict[str, list[datetime.date | None]] = field(default_factory=dict)
    unread: dict[str, set[int]] = field(default_factory=dict)  # column of dates -> rows whose date cannot be read
    codes: dict[str, list[str]] = field(
        default_factory=dict
    )  # column of identifiers -> its codes, "" where there is none

    def __len__(self) -> int:
        return len(self.sheet.rows)

    def cells(self, name: str) -> np.ndarray:
        """The raw cells of a column; empty ones where the file has none of that name."""
        if name not in self.named:
            return np.full(len(self), None, dtype=object)
        return self.sheet.columns[self.named[name]]

    def spelt(self, name: str) -> list[str]:
        """The identifiers of a column in one spelling; empty where a cell holds none."""
        return [spelling(cell) if is_identifier(cell) else "" for cell in self.cells(name)]

    def remark(self, message: str, name: str, at: int | None = None) -> Remark:
        """A remark on a cell of a column, or on the whole column."""
        position = self.named.get(name)
        shown = name if name in self.table.columns or position is None else position_of(position)
        if at is None:
            return Remark(self.file, message, shown)
        return Remark(self.file, message, shown, int(self.sheet.rows[at]), position if self.sheet.is_workbook else None)

    def kind_of_name(self, name: str) -> Kind | None:
        """What the name of a column that is not known says of it."""
        return kind_of_header(str(self.sheet.header[self.named[name]]))


def position_of(position: int) -> str:
    """The name of a column that goes may itself be somebody's."""
    return f"column {position + 1} ({letters(position)})"


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
        if file.sheet.beside:
            told.append(
                Remark(called, "titles and rows of units beside the table: dropped.", row=min(file.sheet.beside))
            )
        for fault in file.sheet.faults:
            place = fault.place.removeprefix(file.sheet.shown)
            problems.append(Remark(f"{called}{place}", fault.message))
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
    if path.suffix.lower() in (".xlsx", ".xlsm"):
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
                yield table, read_sheet(source, table, _names(schema[table]), reading.hidden), _group(path, "")
            return
    words = re.findall(r"[a-z]+", path.stem.lower())
    tables = [table for table in EVERY_TABLE if table in words]
    if len(tables) != 1:
        known = ", ".join(EVERY_TABLE)
        message = f"which table is it? Name the file or its sheets after one of {known}: patients_north.csv."
        raise Unreadable(file, message)
    table = tables[0]
    sheet = read_sheet(Source(file, path, None), table, _names(schema[table]), reading.hidden)
    yield table, sheet, _group(path, table)


def _names(table: Table) -> list[str]:
    return [*table.columns, *NAMES_OF_DATES.get(table.name, ())]


def _title(part) -> str:
    return part.title.strip().lower()


def _group(path: Path, table: str) -> str:
    stem = spelling(path.stem)
    return re.sub(r"[\W_]+", " ", stem.replace(table, " ", 1) if table else stem).strip()


def name_columns(file: CentreTable, problems: list[Remark], told: list[Remark]) -> None:
    """Finds each column's name; one that stands twice is a problem, one without a name is dropped."""
    aliases = NAMES_OF_DATES.get(file.table.name, {})
    for position, cell in enumerate(file.sheet.header):
        name = "" if is_blank(cell) else str(cell).strip(BLANKS).lower()
        joined = "_".join(name.split())
        name = aliases.get(joined, name)  # `Date of birth` as people write it
        if not name:
            if any(not is_blank(cell) for cell in file.sheet.columns[position]):
                message = "filled cells under no column name: dropped. Name the column if it belongs to the table."
                told.append(Remark(file.file, message, position_of(position)))
        elif name in file.named:
            message = "the same name stands twice in the header. Rename one of the two."
            problems.append(Remark(file.file, message, position_of(position)))
        else:
            file.named[name] = position
