"""A file as it is looked at before anybody has said how it is read: where its header stands, how it is encoded."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

from liftseries.base.errors import Problem, StudyError, UsageError
from liftseries.base.reading import content
from liftseries.intake.files.csv_files import MOST_BYTES, read_csv
from liftseries.intake.files.grid import Grid, Unreadable, is_blank
from liftseries.intake.files.read_sheet import read_sheet
from liftseries.intake.files.workbooks import read_workbook
from liftseries.intake.mapping.matching import FileColumn, file_column
from liftseries.study.forms import SEPARATORS, Forms, folded_name
from liftseries.study.plan_files import PLAN_FILE, Source

LOOKED_THROUGH = 2**20  # characters, for the first line
WITH_COMMA, WITH_POINT = re.compile(r"[+-]?[0-9]+,[0-9]{1,2}"), re.compile(r"[+-]?[0-9]+\.[0-9]{1,2}")


@dataclass(frozen=True)
class LookedAt:
    """A file's columns, and how it must be read to have them."""

    name: str
    columns: list[FileColumn]
    header_rows: tuple[int, ...] = ()
    encoding: str = ""
    separator: str = ""
    decimal: str = ""


def look_at(source: Source, names: set[str]) -> LookedAt:
    """Opens a file and finds its columns.

    Parameters
    ----------
    source
    names : what columns of the dictionary are called, by which a header below a title is known

    Raises
    ------
    StudyError
        It cannot be read, or two of its columns have one name.
    """
    try:
        encoding, separator = _of_text(source.path) if source.path.suffix.lower() in (".csv", ".txt") else ("", "")
        forms = Forms(encoding=encoding, separator=SEPARATORS.get(separator, separator))
        rows = _header_rows(source, forms)
        sheet = read_sheet(source, "", names, "read", replace(forms, header_rows=rows))
    except Unreadable as error:
        place = source.label if error.place.startswith(PLAN_FILE) else error.place
        raise StudyError([Problem(place, error.message)]) from None
    columns = [
        file_column(" ".join(str(name).split()), cells, len(rows) > 1)
        for name, cells in zip(sheet.header, sheet.columns, strict=True)
        if not is_blank(name)
    ]
    seen = [folded_name(column.name) for column in columns]
    columns = [column for at, column in enumerate(columns) if seen[at] not in seen[:at]]
    texts = [cell for column in columns for cell in column.cells if isinstance(cell, str)]
    comma, point = (sum(bool(mark.fullmatch(text.strip())) for text in texts) for mark in (WITH_COMMA, WITH_POINT))
    decimal = "," if comma and not point else ""
    return LookedAt(source.label, columns, rows, encoding, separator, decimal)


def _of_text(path: Path) -> tuple[str, str]:
    """The encoding of a text file that is not UTF-8, and its separator where it does not show."""
    try:
        data = content(path, MOST_BYTES)
    except OSError as error:
        raise UsageError(f"{path}: cannot be opened ({error.strerror}). Name another file.") from None
    encoding = ""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    else:
        try:
            data.decode("utf-8-sig")
        except UnicodeDecodeError:
            encoding = "cp1252"
    text = data.decode(encoding or "utf-8-sig", errors="replace")
    first = next((line for line in text[:LOOKED_THROUGH].splitlines() if line.strip()), "")
    counts = {name: first.count(sign) for name, sign in SEPARATORS.items()}
    if counts["tab"] > max(counts["comma"], counts["semicolon"]):
        return encoding, "tab"
    return encoding, "bar" if counts["bar"] > max(counts["comma"], counts["semicolon"], 1) else ""


def _header_rows(source: Source, forms: Forms) -> tuple[int, ...]:
    """Two rows of names: groups merged over columns, or in a CSV file names with gaps, above a full row of names."""
    ending = source.path.suffix.lower()
    if ending in (".xlsx", ".xlsm"):
        grid = read_workbook(source, "")
        wide = [merge for merge in grid.layout.merges if merge.right > merge.left and merge.top == merge.bottom]
        tops = sorted({merge.top for merge in wide if _all_texts(grid, merge.top + 1)})
        rows = [top for at, top in enumerate(tops) if top == tops[0] + at]  # a title may be merged above the groups
        return (rows[-1], rows[-1] + 1) if rows and rows[-1] <= 20 and _n_texts(grid, rows[-1]) > 1 else ()
    if ending in (".csv", ".txt") and source.path.is_file():
        grid = read_csv(source, forms.encoding, forms.separator)
        row = next((row for row in range(1, min(len(grid.records), 5)) if _n_texts(grid, row) > 1), 0)
        gaps = sum(is_blank(cell) for cell in grid.records[row - 1]) if row else 0
        if gaps >= 2 and _all_texts(grid, row + 1) and _n_texts(grid, row + 1) > gaps:
            return (row, row + 1)
    return ()


def _n_texts(grid: Grid, row: int) -> int:
    return sum(isinstance(cell, str) and not is_blank(cell) for cell in grid.records[row - 1])


def _all_texts(grid: Grid, row: int) -> bool:
    if row > len(grid.records):
        return False
    filled = [cell for cell in grid.records[row - 1] if not is_blank(cell)]
    numbers = sum(not isinstance(cell, str) or bool(re.fullmatch(r"[0-9.,]+", cell.strip())) for cell in filled)
    return len(filled) >= 2 and numbers <= len(filled) / 3
