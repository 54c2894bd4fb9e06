"""CSV to raw cells: UTF-8, commas or semicolons; what is wrong is told by byte, line or row."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

from liftseries.base.reading import content
from liftseries.intake.files.csv_columns import PlainColumns, plain_columns
from liftseries.intake.files.grid import BLANKS, LONGEST_TEXT, MOST_COLUMNS, Grid, Remark, Unreadable
from liftseries.study.plan_files import Source

AS_UTF8 = "Save the file as UTF-8 (in a spreadsheet: CSV UTF-8), or name its `encoding` under `files` in study.yaml."
MOST_BYTES = 512 * 2**20
MOST_CELLS = 10_000_000
# Some programs write a first line that names the separator; spreadsheets obey and do not show it.
SEP_LINE = re.compile(r'\A"?sep=(.)"?(?:\r\n|\r|\n|\Z)', re.IGNORECASE)


def read_csv(source: Source, encoding: str = "", separator: str = "") -> Grid:
    """The cells of a CSV file, every one a text.

    Parameters
    ----------
    source
    encoding, separator : where study.yaml names them; else UTF-8, and comma or semicolon

    Raises
    ------
    Unreadable
        Too large, not UTF-8, separated otherwise, or with quotes that do not close.
    """
    label = source.told
    content = _content(source.path, label)
    text = _in_encoding(content, encoding, label) if encoding else _decoded(content, label)
    remarks = []
    if sep := SEP_LINE.match(text):
        text = text[sep.end() :]
        if sep[1] not in (separator or ",;"):
            message = "names a separator that is neither comma nor semicolon. Save it with commas or semicolons."
            raise Unreadable(f"{label}, line 1", message)
        taken_for = "the separator's name; rows count from the line below it, as a spreadsheet shows them"
        remarks.append(Remark(None, None, "a first line `sep=`", taken_for, "sep_line_names_the_separator"))
    delimiter = separator or (sep[1] if sep else _delimiter(text, label))
    records = _records(text, delimiter, label, first_line=2 if sep else 1)
    # Behind a comma an unquoted decimal comma makes a row longer without a filled cell too many.
    return Grid(label, False, records, remarks=remarks, any_extra_cell=delimiter == ",")


def read_plain_csv(source: Source, encoding: str = "", separator: str = "") -> PlainColumns | None:
    """The same cells a column at a time, where the file is plain; else None, and `read_csv` is asked.

    Parameters
    ----------
    source, encoding, separator : as `read_csv` takes them

    Raises
    ------
    Unreadable
        Too large.
    """
    data = _content(source.path, source.told)
    start = data[: MOST_COLUMNS * 64].decode("utf-8-sig", errors="replace")
    header = start.partition("\n")[0]
    if encoding or SEP_LINE.match(start) or len(header) == len(start) or ("\t" in header and not separator):
        return None
    return plain_columns(data, separator or _delimiter(start, source.told))


def _content(path: Path, label: str) -> bytes:
    data = content(path, MOST_BYTES)
    if len(data) > MOST_BYTES:
        raise Unreadable(label, f"is larger than {MOST_BYTES >> 20} MB. Keep the table's columns and rows only.")
    return data


def _in_encoding(data: bytes, encoding: str, label: str) -> str:
    try:
        return data.decode(encoding).removeprefix("\ufeff").replace("\0", "")
    except UnicodeError as error:
        at = f"byte {error.start + 1}" if isinstance(error, UnicodeDecodeError) else "a byte"
        message = f"{at} is none of {encoding}. Correct `encoding`, or save the file as UTF-8."
        raise Unreadable(label, message) from None


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
    ends = [data.count(sign, 0, offset) for sign in (b"\n", b"\r", b"\r\n")]
    return ends[0] + ends[1] - ends[2] + 1


def _delimiter(text: str, label: str) -> str:
    unquoted = re.sub(r'"[^"]*"', "", text[: MOST_COLUMNS * 64]).lstrip(BLANKS + '"')
    header = re.split(r"[\r\n]", unquoted, maxsplit=1)[0]
    if "\t" in header and not ("," in header or ";" in header):
        message = "tabs stand between the columns. Save it with commas or semicolons, or write `separator: tab`"
        raise Unreadable(f"{label}, row 1", f"{message} under `files` in study.yaml.")
    return ";" if header.count(";") > header.count(",") else ","


def _records(text: str, delimiter: str, label: str, first_line: int) -> list[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True, strict=True)
    csv.field_size_limit(LONGEST_TEXT)  # other libraries raise it for the whole process
    records, n_cells = [], 0
    try:
        for record in reader:
            if len(record) > MOST_COLUMNS:
                message = f"{len(record)} cells in one row; no table is read with more than {MOST_COLUMNS}."
                raise Unreadable(f"{label}, row {len(records) + 1}", f"{message} Save the file again.")
            n_cells += max(1, len(record))
            if n_cells > MOST_CELLS:
                message = f"holds more than {MOST_CELLS} cells or empty lines. Keep the table's columns and rows only."
                raise Unreadable(label, message)
            records.append(record)
    except csv.Error as error:
        if "field larger" in str(error):
            message = (
                f"a cell of more than {LONGEST_TEXT} characters. Close the quotation mark before it, or shorten it."
            )
        else:
            message = "a quotation mark is not closed, or text follows the closing one. Mend the quotes."
        raise Unreadable(f"{label}, line {reader.line_num + first_line - 1}", message) from None
    return records
