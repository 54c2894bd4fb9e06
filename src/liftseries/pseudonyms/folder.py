"""A centre's folder of tables to a new folder without identifiers and dates; nothing of the old one is touched.

Every column has one fate: replaced, turned from dates, kept or dropped. What has none is refused.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from liftseries.base.errors import Problem, StudyError, UsageError
from liftseries.base.numbers import plain
from liftseries.base.outputs import remake_folder, write_csv
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.files.grid import BLANKS, DATES, Oddity, Unreadable, is_blank, letters
from liftseries.intake.files.sheet import Sheet, read_sheet
from liftseries.intake.files.workbook_parts import Workbook
from liftseries.intake.identifiers.kinds import Role
from liftseries.intake.identifiers.screen import role_of, screen_column
from liftseries.intake.identifiers.search import kind_of_header
from liftseries.pseudonyms.codes import pseudonym, spelling
from liftseries.pseudonyms.dates import completed_years, months_between, read_dates
from liftseries.study.plan_files import Source
from liftseries.study.schema import TABLES, read_schema

LOG = "pseudonymise_log.csv"
ENDINGS = (".csv", ".txt", ".xlsx", ".xlsm", ".parquet")
KINDS = {"patient_id": "patient", "site_id": "site", "operator": "operator"}
# table -> the names that a column of dates may have -> what it is turned into
DATE_COLUMNS = {
    "patients": {name: "age_years" for name in ("birth_date", "date_of_birth", "dob")},
    "sites": {"surgery_date": "surgery_year", "placement_date": ""},
    "visits": {name: "months" for name in ("date", "visit_date")},
}


@dataclass(frozen=True)
class Wishes:
    """What the user says of columns and dates."""

    order: str | None = None  # how texts that are dates were typed
    keep: frozenset[str] = frozenset()
    drop: frozenset[str] = frozenset()
    replace: frozenset[str] = frozenset()


@dataclass
class _File:
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
        return [spelling(cell) if _is_identifier(cell) else "" for cell in self.sheet.columns[self.named[name]]]


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


def pseudonymise(source: Path, target: Path, key: bytes, wishes: Wishes | None = None) -> pd.DataFrame:
    """Writes the tables without identifiers, and the log.

    Parameters
    ----------
    source : a folder of tables, or one file
        A file is known by the name of its table in its own, as in `patients_north.csv`; a workbook by its sheets.
    target : the folder to make
    key : 32 bytes
    wishes

    Returns
    -------
    The log, without values: file, column, done, filled (how many cells hold something).

    Raises
    ------
    StudyError
        Every column without a fate, every date that cannot be read, every identifier that would remain.
    """
    check_folders(source, target)
    wishes = wishes or Wishes()
    problems: list[Problem] = []
    files = list(_files(source, problems))
    for file in files:
        _name_columns(file, wishes, problems)
    asked = wishes.keep | wishes.drop | wishes.replace
    for name in sorted(asked - {name for file in files for name in file.named}):
        problems.append(Problem("command line", f"no table has the column {name}. Correct the name."))
    surgery, placed, first = _days_of_sites(files)
    codes: dict[str, tuple[str, str]] = {}
    made, lines = {}, []
    for file in files:
        columns = {}
        for name, position in file.named.items():
            cells = file.sheet.columns[position]
            shown, values, done = name, None, ""
            if name in wishes.drop:
                shown, done = _position(position), "dropped, as asked"
            elif name in KINDS or name in wishes.replace:
                values = _replaced(file, name, key, codes, problems)
                done = "replaced by pseudonyms"
            elif name in file.dates:
                shown, values, done = _undated(file, name, surgery, placed, first, problems)
            elif _is_direct(file, name):
                shown, done = _position(position), f"dropped: {kind_of_header(_header(file, name)).words}"
            else:
                values, done = _kept(file, name, problems), "kept as it is"
            if values is not None:
                columns[shown] = values
            lines.append([file.out, shown, done, sum(not is_blank(cell) for cell in cells)])
        made[file.out] = pd.DataFrame(columns, dtype=object)
    if problems:
        raise StudyError(problems)
    log = pd.DataFrame(lines, columns=["file", "column", "done", "filled"])
    with remake_folder(target) as folder:
        for name, table in made.items():
            write_csv(folder / name, table)
        write_csv(folder / LOG, log)
    return log


# ── files and columns ─────────────────────────────────────────────────────────────────────────────────────────


def _files(source: Path, problems: list[Problem]) -> Iterator[_File]:
    paths = sorted(source.iterdir()) if source.is_dir() else [source]
    found: dict[str, list[_File]] = {table: [] for table in TABLES}
    for path in paths:
        if path.name.startswith((".", "~$")):
            continue
        if not path.is_file() or path.suffix.lower() not in ENDINGS:
            message = "is no table: neither CSV, XLSX nor Parquet. Take it out of the folder, or name a file alone."
            problems.append(Problem(path.name, message))
            continue
        try:
            for table, sheet in _tables_in(path, problems):
                found[table].append(_File(table, sheet))
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


def _name_columns(file: _File, wishes: Wishes, problems: list[Problem]) -> None:
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
            told = wishes.keep | wishes.drop | wishes.replace
            if name in DATE_COLUMNS.get(file.table, {}) and name not in wishes.drop:
                _read_dates(file, name, wishes.order, problems)
            elif name not in known and name not in told and not _is_direct(file, name):
                message = "not a known column. Drop it with --drop, or look at all of it and keep it with --keep."
                problems.append(Problem(place, message))
    for name in file.dates:
        into = DATE_COLUMNS[file.table][name]
        if into in file.named and into not in wishes.drop:
            place = sheet.header_place(file.named[name])
            problems.append(Problem(place, f"both these dates and {into} are given. Drop one of the two with --drop."))
        if any(DATE_COLUMNS[file.table][other] == into != "" for other in file.dates if other != name):
            message = f"more than one column of dates could give {into}. Drop the others with --drop."
            problems.append(Problem(sheet.header_place(file.named[name]), message))
    if "placement_date" in file.dates and not {"surgery_date", "surgery_year"} & set(file.named):
        message = "surgery_date is missing, of which surgery_year is made. Add it."
        problems.append(Problem(sheet.row_place(sheet.header_row), message))


def _read_dates(file: _File, name: str, order: str | None, problems: list[Problem]) -> None:
    dates, faults, of_all = read_dates(file.sheet.columns[file.named[name]], order)
    file.dates[name] = dates
    if of_all:
        problems.append(Problem(file.sheet.header_place(file.named[name]), of_all))
    else:
        problems += [Problem(file.where(at, name), message) for at, message in faults.items()]


def _header(file: _File, name: str) -> str:
    return str(file.sheet.header[file.named[name]])


def _is_direct(file: _File, name: str) -> bool:
    return name not in read_schema()[file.table].columns and kind_of_header(_header(file, name)) is not None


def _position(position: int) -> str:
    """The name of a column that goes may itself be somebody's."""
    return f"column {position + 1} ({letters(position)})"


# ── dates ─────────────────────────────────────────────────────────────────────────────────────────────────────

Days = dict[str, datetime.date]


def _days_of_sites(files: Collection[_File]) -> tuple[Days, Days, Days]:
    """By site the day of surgery and of placement, by patient the day of the first surgery."""
    surgery: Days = {}
    placed: Days = {}
    first: Days = {}
    for file in files:
        if file.table == "sites":
            none = [None] * len(file.sheet.rows)
            operated, placement = file.dates.get("surgery_date", none), file.dates.get("placement_date", none)
            for site, patient, on, then in zip(
                file.spelt("site_id"), file.spelt("patient_id"), operated, placement, strict=True
            ):
                if on:
                    surgery[site] = on
                    first[patient] = min(on, first.get(patient, on))
                # A site without a placement date in a file that has them was not given an implant that day.
                if since := then if "placement_date" in file.dates else on:
                    placed[site] = since
    for days in (surgery, placed, first):
        days.pop("", None)  # a row without an identifier dates nobody
    return surgery, placed, first


def _undated(
    file: _File, name: str, surgery: Days, placed: Days, first: Days, problems: list[Problem]
) -> tuple[str, list[object] | None, str]:
    """The name of the new column, its values, and what was done."""
    into, dates = DATE_COLUMNS[file.table][name], file.dates[name]
    match into:
        case "":
            return _position(file.named[name]), None, "dropped: months are counted from these dates"
        case "surgery_year":
            return into, [date and date.year for date in dates], "dates turned into years"
        case "months":
            owners, since, lacks = file.spelt("site_id"), placed, "its site has no placement or surgery date"
            done = "dates turned into months since placement"
        case _:
            owners, since, lacks = file.spelt("patient_id"), first, "the patient has no site with a surgery date"
            done = "dates turned into age at the first surgery"
    values: list[object] = []
    for at, (date, owner) in enumerate(zip(dates, owners, strict=True)):
        start, value = since.get(owner), None
        if date and start is None:
            problems.append(Problem(file.where(at, name), f"{lacks}. Add it, or mend the identifier."))
        elif date:
            value = months_between(start, date) if into == "months" else completed_years(date, start)
            if value < 0:
                wrong = "before the placement" if into == "months" else "after the surgery"
                problems.append(Problem(file.where(at, name), f"a day {wrong}. Correct one of the two dates."))
        values.append(value)
    return into, values, done


# ── identifiers and the rest ──────────────────────────────────────────────────────────────────────────────────


def _is_identifier(cell: object) -> bool:
    return not is_blank(cell) and (isinstance(cell, str) or number_in(cell) is not None)


def _replaced(
    file: _File, name: str, key: bytes, codes: dict[str, tuple[str, str]], problems: list[Problem]
) -> list[object]:
    kind, values = KINDS.get(name, name), []
    for at, cell in enumerate(file.sheet.columns[file.named[name]]):
        if not _is_identifier(cell):
            if not is_blank(cell):
                message = "neither a text nor a number. Enter the identifier as a text."
                problems.append(Problem(file.where(at, name), message))
            values.append(None)
            continue
        code, meant = pseudonym(key, kind, cell), (kind, spelling(cell))
        if codes.setdefault(code, meant) != meant:
            message = "two identifiers came to one pseudonym, by chance. Use another key."
            problems.append(Problem(file.where(at, name), message))
        values.append(code)
    return values


def _kept(file: _File, name: str, problems: list[Problem]) -> list[object]:
    """The cells as CSV shows them; an identifier or date among them is a problem, its value never told."""
    table = read_schema()[file.table]
    column, cells = table.columns.get(name), file.sheet.columns[file.named[name]]
    role = role_of(table, name if column else "")
    do = f"Mend it, leave the column out with --drop {name}, or replace its texts with --replace {name}."
    for at, cell in enumerate(cells):
        if isinstance(cell, (Oddity, *DATES)):
            stood = "an error or formula without a value" if isinstance(cell, Oddity) else "a date"
            problems.append(Problem(file.where(at, name), f"{stood}, which cannot be kept. {do}"))
        elif name == "surgery_year" and not is_blank(cell) and not 1900 <= (number_in(cell) or 0) < 2100:
            problems.append(Problem(file.where(at, name), f"no year. Write the year alone. {do}"))
    # Also a date where a number or level is due, which check refuses, must not lie in the new folder.
    texts = np.array(
        [cell if isinstance(cell, str) and number_in(cell) is None else None for cell in cells], dtype=object
    )
    found = {}
    for kinds in (screen_column(cells, role), screen_column(texts, Role.LABEL)):
        found |= {int(at): kind for kind, rows in kinds.items() for at in rows}
    for at, kind in sorted(found.items()):
        problems.append(Problem(file.where(at, name), f"looks like {kind.words}. {do}"))
    is_level = column is not None and column.type == "category"
    words = {True: "yes", False: "no"} if is_level else {True: "true", False: "false"}
    return [_as_csv(cell, words) for cell in cells]


def _as_csv(cell: object, words: dict[bool, str]) -> object:
    if isinstance(cell, bool):
        return words[cell]
    if isinstance(cell, int):
        return str(cell)
    return plain(cell) if isinstance(cell, float) else cell
