"""A centre's tables as they came: which file holds which table, its columns by name, its dates read."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from liftseries.base.errors import Problem
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.files.grid import BLANKS, Unreadable, is_blank, letters
from liftseries.intake.files.sheet import Sheet, read_sheet
from liftseries.intake.files.workbook_parts import Workbook
from liftseries.intake.identifiers.search import kind_of_header
from liftseries.pseudonyms.codes import spelling
from liftseries.pseudonyms.dates import read_dates
from liftseries.study.plan_files import Source
from liftseries.study.schema import TABLES, read_schema

ENDINGS = (".csv", ".txt", ".xlsx", ".xlsm", ".parquet")
# table -> the names that a column of dates may have -> what it is turned into
DATE_COLUMNS = {
    "patients": {name: "age_years" for name in ("birth_date", "date_of_birth", "dob")},
    "sites": {"surgery_date": "surgery_year", "placement_date": ""},
    "visits": {name: "months" for name in ("date", "visit_date")},
}


@dataclass(frozen=True)
class Options:
    """What the user says of columns and dates."""

    order: str | None = None  # how texts that are dates were typed
    keep: frozenset[str] = frozenset()
    drop: frozenset[str] = frozenset()
    replace: frozenset[str] = frozenset()


@dataclass
class CentreTable:
    """One table of one file."""

    table: str
    sheet: Sheet
    out: str = ""
    named: dict[str, int] = field(default_factory=dict)  # name in small letters -> position
    dates: dict[str, list[datetime.date | None]] = field(default_factory=dict)

    def where(self, at: int, name: str) -> str:
        return self.sheet.place(int(self.sheet.rows[at]), name, self.named[name])

    def spelt(self, name: str) -> list[str]:
        """The identifiers of a column in one spelling; empty where a cell holds none."""
        if name not in self.named:
            return [""] * len(self.sheet.rows)
        return [spelling(cell) if is_identifier(cell) else "" for cell in self.sheet.columns[self.named[name]]]


# ── files ─────────────────────────────────────────────────────────────────────────────────────────────────────


def tables_of(source: Path, problems: list[Problem]) -> Iterator[CentreTable]:
    """The tables of a folder, or of one file, in the order of TABLES; what is none is a problem."""
    paths = sorted(source.iterdir()) if source.is_dir() else [source]
    found: dict[str, list[CentreTable]] = {table: [] for table in TABLES}
    for path in paths:
        if path.name.startswith((".", "~$")):
            continue
        if not path.is_file() or path.suffix.lower() not in ENDINGS:
            message = "is no table: neither CSV, XLSX nor Parquet. Take it out of the folder, or name a file alone."
            problems.append(Problem(path.name, message))
            continue
        try:
            for table, sheet in _tables_in(path, problems):
                found[table].append(CentreTable(table, sheet))
                problems += [Problem(fault.place, fault.message) for fault in sheet.faults]
        except Unreadable as error:
            problems.append(Problem(error.place, error.message))
    for table, files in found.items():
        for number, file in enumerate(files, start=1):
            # A centre's own file name may hold a name, so it is not taken over.
            file.out = f"{table}.csv" if len(files) == 1 else f"{table}_{number}.csv"
            yield file


def _tables_in(path: Path, problems: list[Problem]) -> Iterator[tuple[str, Sheet]]:
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        with Workbook(path, path.name) as book:
            parts = book.sheets
        sheets = {part.title: part.title.strip().lower() for part in parts if part.title.strip().lower() in TABLES}
        if sheets:
            if any(part.is_hidden for part in parts if part.title in sheets):
                problems.append(Problem(path.name, "a hidden sheet bears a table's name. Unhide or remove it."))
            others = len(parts) - len(sheets)
            if others:
                message = f"{others} of its sheets bear no table's name. Rename or remove them."
                problems.append(Problem(path.name, message))
            for title, table in sheets.items():
                yield table, read_sheet(Source(f"{path.name}#{title}", path, title), table)
            return
    words = re.findall(r"[a-z]+", path.stem.lower())
    tables = [table for table in TABLES if table in words]
    if len(tables) != 1:
        message = (
            f"which table is it? Name the file or its sheets after one of {', '.join(TABLES)}: patients_north.csv."
        )
        raise Unreadable(path.name, message)
    yield tables[0], read_sheet(Source(path.name, path, None), tables[0])


# ── columns ───────────────────────────────────────────────────────────────────────────────────────────────────


def name_columns(file: CentreTable, options: Options, problems: list[Problem]) -> None:
    """Finds each column's name and reads its dates; a column that has no fate is a problem."""
    sheet, known = file.sheet, read_schema()[file.table].columns
    if sheet.ragged:
        place = sheet.row_place(int(sheet.rows[min(sheet.ragged)]))
        problems.append(Problem(place, "more or fewer cells than column names. Mend the row."))
    for position, cell in enumerate(sheet.header):
        name = "" if is_blank(cell) else str(cell).strip(BLANKS).lower()
        joined = "_".join(name.split())
        name = joined if joined in DATE_COLUMNS.get(file.table, {}) else name  # `Date of birth` as people write it
        place = sheet.header_place(position)
        if not name:
            if any(not is_blank(cell) for cell in sheet.columns[position]):
                problems.append(Problem(place, "filled cells under no column name. Name the column or clear it."))
        elif name in file.named:
            problems.append(Problem(place, "the same name stands twice in the header. Rename one of the two."))
        else:
            file.named[name] = position
            told = options.keep | options.drop | options.replace
            if name in DATE_COLUMNS.get(file.table, {}) and name not in options.drop:
                _read_dates(file, name, options.order, problems)
            elif name not in known and name not in told and not is_direct(file, name):
                message = "not a known column. Drop it with --drop, or look at all of it and keep it with --keep."
                problems.append(Problem(place, message))
    for name in file.dates:
        into = DATE_COLUMNS[file.table][name]
        if into in file.named and into not in options.drop:
            place = sheet.header_place(file.named[name])
            problems.append(Problem(place, f"both these dates and {into} are given. Drop one of the two with --drop."))
        if any(DATE_COLUMNS[file.table][other] == into != "" for other in file.dates if other != name):
            message = f"more than one column of dates could give {into}. Drop the others with --drop."
            problems.append(Problem(sheet.header_place(file.named[name]), message))
    if "placement_date" in file.dates and not {"surgery_date", "surgery_year"} & set(file.named):
        message = "surgery_date is missing, of which surgery_year is made. Add it."
        problems.append(Problem(sheet.row_place(sheet.header_row), message))


def _read_dates(file: CentreTable, name: str, order: str | None, problems: list[Problem]) -> None:
    dates, faults, of_all = read_dates(file.sheet.columns[file.named[name]], order)
    file.dates[name] = dates
    if of_all:
        problems.append(Problem(file.sheet.header_place(file.named[name]), of_all))
    else:
        problems += [Problem(file.where(at, name), message) for at, message in faults.items()]


def header_of(file: CentreTable, name: str) -> str:
    """The column's name as the file has it."""
    return str(file.sheet.header[file.named[name]])


def is_direct(file: CentreTable, name: str) -> bool:
    """Whether the name of a column that is not known says that it points at a person."""
    return name not in read_schema()[file.table].columns and kind_of_header(header_of(file, name)) is not None


def position_of(position: int) -> str:
    """The name of a column that goes may itself be somebody's."""
    return f"column {position + 1} ({letters(position)})"


def is_identifier(cell: object) -> bool:
    """A text or a number: what a pseudonym can be made of."""
    return not is_blank(cell) and (isinstance(cell, str) or number_in(cell) is not None)
