"""Files to raw cells: CSV, a sheet of a workbook, or Parquet, with the place of every cell.

Nothing is interpreted here. A cell is a text, a number, true or false, a date, None (empty) or an `Oddity` of
a workbook; a row keeps the number that a spreadsheet shows, so the first row below the header is row 2.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
import warnings
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

import numpy as np

from liftseries.plan import PLAN_FILE, Source

DATES = (datetime.date, datetime.time, datetime.timedelta)
BLANKS = " \t\r\n\v\f\u00a0\u202f\ufeff\u200b"  # also non-breaking blanks and stray byte-order marks
AS_UTF8 = "Save the file as UTF-8 (in a spreadsheet: CSV UTF-8)."
OLD_OR_LOCKED = b"\xd0\xcf\x11\xe0"  # the container of workbooks before 2007 and of encrypted ones


class Oddity(Enum):
    """What a workbook may hold in the place of a value."""

    ERROR = "error"
    FORMULA = "formula"  # without a stored value


class Unreadable(Exception):
    """A file that gives no cells; the user is told where and why."""

    def __init__(self, place: str, message: str, rule: str = "file_is_readable"):
        super().__init__(message)
        self.place, self.message, self.rule = place, message, rule


@dataclass(frozen=True)
class Sheet:
    """One file of a table (in a workbook: one sheet of it) as raw cells."""

    source: Source
    shown: str  # `cases.xlsx, sheet sites`: what a place begins with
    is_workbook: bool
    header: list[object]
    header_row: int
    columns: list[np.ndarray]  # one object array a header cell, shape (n_rows,)
    rows: np.ndarray  # shape (n_rows,), numbers as a spreadsheet shows them
    too_long: dict[int, int]  # position among `rows` -> cells in the row, where they are more than the header has

    def row_place(self, row: int) -> str:
        return f"{self.shown}, row {row}"

    def place(self, row: int, column: str, position: int | None) -> str:
        """Where a cell stands; `position` is its column's number from 0, None where the file has none."""
        if self.is_workbook and position is not None:
            return f"{self.shown}, cell {letters(position)}{row}, {column}"
        return f"{self.row_place(row)}, {column}"

    def header_place(self, position: int) -> str:
        if self.is_workbook:
            return f"{self.shown}, cell {letters(position)}{self.header_row}"
        return f"{self.row_place(self.header_row)}, column {position + 1} ({letters(position)})"


def file_of(label: str) -> str:
    """`cases.xlsx` of `cases.xlsx#sites`."""
    return label.partition("#")[0]


def letters(position: int) -> str:
    """A column's letters in a spreadsheet: 0 is A, 26 is AA."""
    name, left = "", position + 1
    while left:
        left, digit = divmod(left - 1, 26)
        name = chr(ord("A") + digit) + name
    return name


def is_blank(cell: object) -> bool:
    """Empty, or a text of blanks."""
    return cell is None or (isinstance(cell, str) and not cell.strip(BLANKS))


def read_sheet(source: Source, table: str) -> Sheet:
    """The cells of one file.

    Parameters
    ----------
    source
        The file, as study.yaml names it.
    table : name of the table, which a sheet may be called after

    Raises
    ------
    Unreadable
        No such file, not allowed, no format that can be read, damaged, encrypted, not UTF-8, or empty.
    """
    label, path = source.label, source.path
    _check_opens(source, table)
    ending = path.suffix.lower()
    if source.sheet and ending not in (".xlsx", ".xlsm"):
        raise Unreadable(label, "only a workbook (.xlsx) has sheets. Leave out what follows the #.")
    match ending:
        case ".csv" | ".txt":
            return _csv(source)
        case ".xlsx" | ".xlsm":
            return _workbook(source, table)
        case ".parquet":
            return _parquet(source)
        case _:
            raise Unreadable(label, "no format that is read here. Save it as CSV (UTF-8), XLSX or Parquet.")


def _check_opens(source: Source, table: str) -> None:
    path, name, where = source.path, file_of(source.label), f"{PLAN_FILE}, tables, {table}"
    try:
        if path.is_dir():
            raise Unreadable(where, f"{name}: is a folder, not a file. Name a file in it.", "file_is_there")
        if not path.is_file():
            message = f"{name}: there is no such file. Correct the name or add the file."
            raise Unreadable(where, message, "file_is_there")
        path.open("rb").close()
    except OSError as error:
        message = f"cannot be opened ({error.strerror}). Correct its name or who may read it."
        raise Unreadable(name, message) from None


# ── CSV ─────────────────────────────────────────────────────────────────────────────────────────


def _csv(source: Source) -> Sheet:
    label = source.label
    text = _decoded(source.path.read_bytes(), label)
    delimiter = _delimiter(text, label)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True, strict=True)
    try:
        records = list(reader)
    except csv.Error:
        message = "a quotation mark is not closed, or text follows the closing one. Mend the quotes."
        raise Unreadable(f"{label}, line {reader.line_num}", message) from None
    # Behind a comma an unquoted decimal comma makes a row longer without a filled cell too many.
    return _sheet(source, label, False, records, any_extra_cell=delimiter == ",")


def _decoded(data: bytes, label: str) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Unreadable(f"{label}, line 1", f"byte 1 is not UTF-8; the file is UTF-16. {AS_UTF8}")
    zero = data.find(b"\0")
    if zero >= 0:
        message = f"byte {zero + 1} is zero, so this is no UTF-8 text. {AS_UTF8}"
        raise Unreadable(f"{label}, line {_line(data, zero)}", message)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # The decoder may count from behind the byte-order mark.
        start = error.start + len(data) - len(error.object)
        message = f"byte {start + 1} is not UTF-8. {AS_UTF8}"
        raise Unreadable(f"{label}, line {_line(data, start)}", message) from None


def _line(data: bytes, offset: int) -> int:
    return len(re.findall(rb"\r\n|\r|\n", data[:offset])) + 1


def _delimiter(text: str, label: str) -> str:
    unquoted = re.sub(r'"[^"]*"', "", text).lstrip(BLANKS + '"')
    header = re.split(r"[\r\n]", unquoted, maxsplit=1)[0]
    if "\t" in header and not ("," in header or ";" in header):
        raise Unreadable(f"{label}, row 1", "tabs stand between the columns. Save it with commas or semicolons.")
    return ";" if header.count(";") > header.count(",") else ","


# ── workbooks ───────────────────────────────────────────────────────────────────────────────────


def _workbook(source: Source, table: str) -> Sheet:
    book = file_of(source.label)
    if source.path.open("rb").read(4) == OLD_OR_LOCKED:
        raise Unreadable(book, "is encrypted or of the old .xls kind. Save it as .xlsx without a password.")
    damaged = Unreadable(book, "is no workbook or a damaged one. Open and save it as .xlsx.")
    if not zipfile.is_zipfile(source.path):
        raise damaged
    try:
        titles = _sheet_titles(source.path)
    except Exception:  # whatever the library stumbles over, the file is at fault
        raise damaged from None
    title = _chosen_sheet(titles, source, table, book)
    try:
        records = _sheet_cells(source.path, title, data_only=True)
        if _has_formulas(source.path):
            as_entered = _sheet_cells(source.path, title, data_only=False)
            records = [_with_formulas(*rows) for rows in zip(records, as_entered, strict=True)]
    except Exception:
        raise damaged from None
    named = source.sheet or (title if title.strip().lower() == table else None)
    shown = f"{book}, sheet {named}" if named else book
    return _sheet(source, shown, True, records)


def _sheet_titles(path: Path) -> list[str]:
    import openpyxl

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # on drop-downs and styles, which do not concern us
        book = openpyxl.load_workbook(path, read_only=True)
    titles = [sheet.title for sheet in book.worksheets]
    book.close()
    return titles


def _chosen_sheet(titles: list[str], source: Source, table: str, book: str) -> str:
    wanted = (source.sheet or table).strip()
    for same in (lambda title: title == wanted, lambda title: title.strip().lower() == wanted.lower()):
        if found := [title for title in titles if same(title)]:
            return found[0]
    if source.sheet:
        message = f"the workbook has no sheet {source.sheet}. Correct the name behind the # in {PLAN_FILE}."
        raise Unreadable(f"{PLAN_FILE}, tables, {table}", f"{book}: {message}", "file_is_there")
    if len(titles) != 1:
        message = f"{len(titles)} sheets, none called {table}. Write `{book}#` and the sheet's name in {PLAN_FILE}."
        raise Unreadable(f"{PLAN_FILE}, tables, {table}", f"{book}: {message}", "file_is_there")
    return titles[0]


def _sheet_cells(path: Path, title: str, data_only: bool) -> list[list[object]]:
    import openpyxl

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(path, read_only=True, data_only=data_only)
        sheet = book[title]
        sheet.reset_dimensions()  # some programs store a wrong extent
        cells = [
            [Oddity.ERROR if cell.data_type == "e" else _entered(cell, data_only) for cell in row]
            for row in sheet.iter_rows()
        ]
    book.close()
    return cells


def _entered(cell: object, data_only: bool) -> object:
    if not data_only and cell.data_type == "f":
        return Oddity.FORMULA
    # The stored value of a formula that gives an empty text is nothing, of the type of a text.
    return "" if cell.value is None and cell.data_type == "str" else cell.value


def _has_formulas(path: Path) -> bool:
    """Looked up first, for reading a sheet a second time takes as long as the first."""
    with zipfile.ZipFile(path) as parts:
        sheets = [name for name in parts.namelist() if name.startswith("xl/worksheets/") and name.endswith(".xml")]
        return any(re.search(rb"<(?:\w+:)?f[\s/>]", parts.read(name)) for name in sheets)


def _with_formulas(stored: list[object], entered: list[object]) -> list[object]:
    return [
        Oddity.FORMULA if value is None and formula is Oddity.FORMULA else value
        for value, formula in zip(stored, entered, strict=True)
    ]


# ── Parquet ─────────────────────────────────────────────────────────────────────────────────────


def _parquet(source: Source) -> Sheet:
    import pyarrow as pa
    import pyarrow.parquet as pq

    label = source.label
    try:
        # Not read_table, which takes columns from folder names such as `year=2020`.
        with pq.ParquetFile(source.path) as file:
            content = file.read(use_threads=False)
    except (pa.ArrowException, OSError, ValueError):
        raise Unreadable(label, "is no Parquet file or a damaged one. Write it again.") from None
    # An index that a data frame left behind is no column of the table.
    kept = [name for name in content.column_names if not name.startswith("__index_level_")]
    content = content.select(kept) if len(set(kept)) == len(kept) else content
    columns = [_plain(column, label, position) for position, column in enumerate(content.columns)]
    if not columns:
        raise Unreadable(label, "has no columns. Start from the table that `liftseries new` writes.")
    filled = np.array([any(not is_blank(cell) for cell in row) for row in zip(*columns, strict=True)], dtype=bool)
    rows = np.arange(2, content.num_rows + 2)[filled]
    cells = [_cells(column)[filled] for column in columns]
    return Sheet(source, label, False, list(content.column_names), 1, cells, rows, {})


def _plain(column, label: str, position: int) -> list[object]:
    """The values as Python ones; a NaN of a data frame is an empty cell."""
    import pyarrow as pa

    place = f"{label}, column {position + 1} ({letters(position)})"
    kind = column.type.value_type if pa.types.is_dictionary(column.type) else column.type
    if not any(is_kind(kind) for is_kind in _kinds()):
        message = "holds neither text, numbers, yes/no values nor dates. Write it as text or numbers."
        raise Unreadable(place, message)
    try:
        values = (column.cast(pa.float64()) if pa.types.is_decimal(kind) else column).to_pylist()
    except (pa.ArrowException, ValueError, OverflowError):
        message = "holds text that is not UTF-8, or dates beyond the calendar. Write it as text or numbers."
        raise Unreadable(place, message) from None
    if kind in (pa.float16(), pa.float32()):
        # 5.2 in single precision is 5.19999981 in double; its shortest decimal is what was meant.
        single = kind.to_pandas_dtype()
        values = [None if value is None else float(str(single(value))) for value in values]
    return [None if value != value else value for value in values]


def _kinds() -> tuple:
    from pyarrow import types

    texts = (types.is_string, types.is_large_string, types.is_string_view)
    numbers = (types.is_integer, types.is_floating, types.is_decimal, types.is_boolean)
    return (*texts, *numbers, types.is_temporal, types.is_null)


# ── rows to columns ─────────────────────────────────────────────────────────────────────────────


def _sheet(
    source: Source,
    shown: str,
    is_workbook: bool,
    records: Sequence[Sequence[object]],
    any_extra_cell: bool = False,
) -> Sheet:
    """Blank rows dropped, every row as long as the header; `any_extra_cell` counts empty cells too."""
    numbered = [(row, cells) for row, cells in enumerate(records, start=1) if not all(map(is_blank, cells))]
    if not numbered:
        raise Unreadable(shown, "is empty, without a header line. Start from the table that `liftseries new` writes.")
    (header_row, header), *body = numbered
    header = list(header)
    while is_blank(header[-1]) and not is_workbook and not any(_filled(cells, len(header) - 1) for _, cells in body):
        header.pop()
    width = max([len(header), *(len(cells) for _, cells in body)]) if is_workbook else len(header)
    # In a workbook a cell keeps its column, so one beyond the header is a column without a name.
    header += [None] * (width - len(header))
    extra = any_extra_cell and not _trailing_delimiter(records[header_row - 1], header)
    too_long = {
        at: len(cells)
        for at, (_, cells) in enumerate(body)
        if len(cells) > width and (extra or not all(map(is_blank, cells[width:])))
    }
    padded = [[*cells[:width], *[None] * (width - len(cells))] for _, cells in body]
    columns = [_cells(column) for column in zip(*padded, strict=True)] if body else [_cells([])] * width
    return Sheet(
        source,
        shown,
        is_workbook,
        header,
        header_row,
        columns,
        np.array([row for row, _ in body], dtype=int),
        too_long,
    )


def _filled(cells: Sequence[object], position: int) -> bool:
    return position < len(cells) and not is_blank(cells[position])


def _trailing_delimiter(written: Sequence[object], header: list[object]) -> bool:
    """The header line itself ends in empty cells, as some programs write every line."""
    return len(written) > len(header)


def _cells(values: Sequence[object]) -> np.ndarray:
    """An object array, also where the values would make another one."""
    cells = np.empty(len(values), dtype=object)
    cells[:] = values
    return cells
