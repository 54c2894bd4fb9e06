"""Workbooks to raw cells: which sheet, what each of its cells really holds, what the workbook joins and hides.

openpyxl reads the cells. Where the sheet's XML shows nothing that a faster reader loses (a formula, an error, a
merge, a hidden row, a number format …), python-calamine reads them instead and gives the same.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterable, Sequence

from liftseries.base.numbers import LARGEST_EXACT
from liftseries.intake.files.grid import (
    LONGEST_TEXT,
    MOST_PLACES,
    Grid,
    Oddity,
    Remark,
    Unreadable,
    is_blank,
    letters,
    spread_too_far,
)
from liftseries.intake.files.number_formats import hides_decimals, seen
from liftseries.intake.files.workbook_layout import LAST_ROW, layout_of
from liftseries.intake.files.workbook_parts import SheetPart, SheetXml, Workbook
from liftseries.study.plan_files import PLAN_FILE, Source

MOST_TEXT = 2**30  # bytes, were every cell to hold the longest text
# A cell that both readers take alike: no formula, no error, no date, a number as every program writes it.
PLAIN_CELL = re.compile(
    rb'<c r="[A-Z]+[0-9]+"(?: s="[0-9]+")?(?:/>|'
    rb'(?: t="n")?>(?:<v>-?[0-9]+(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?</v>)?</c>|'
    rb' t="s"><v>[0-9]+</v></c>|'
    rb' t="b"><v>[01]</v></c>|'
    rb' t="inlineStr"><is><t(?: xml:space="preserve")?>[^<]*</t></is></c>)'
)
NO_PLAIN_TEXT = re.compile(rb"_x|<!\[CDATA|<!--|<rPh|<\?(?!xml )")


def read_workbook(source: Source, table: str) -> Grid:
    """The cells of the sheet that study.yaml names, or that is called like the table, or is the only one shown.

    Raises
    ------
    Unreadable
        Damaged, locked, beyond a limit, or without such a sheet.
    """
    name = source.told_file
    with Workbook(source.path, name) as book:
        chosen, remarks = _chosen_sheet(book.sheets, source, table, name)
        xml = book.sheet_xml(chosen)
        try:
            layout = layout_of(xml.sheet)
            # Places in a row of their own are given as well, up to the last that the sheet names.
            is_dense = layout.extent[0] * layout.extent[1] <= MOST_PLACES
            records = quick_records(xml) if is_dense else None
            if records is None:
                records, told = careful_records(xml)
                remarks += told
            _check_lengths(records)
        except Unreadable as error:
            raise Unreadable(name, error.message, error.rule) from None
        except Exception:  # whatever the libraries stumble over, the file is at fault
            raise book.damaged from None
    named = None if source.instead else source.sheet
    shown = named or (chosen.title if chosen.title.strip().lower() == table else None)
    place = f"{name}, sheet {shown}" if shown else name
    return Grid(place, True, records, layout, remarks)


def _check_lengths(records: Sequence[Sequence[object]]) -> None:
    for row, cells in enumerate(records, start=1):
        for position, cell in enumerate(cells):
            if isinstance(cell, str) and len(cell) > LONGEST_TEXT:
                message = f"cell {letters(position)}{row} holds more than {LONGEST_TEXT} characters. Shorten it."
                raise Unreadable("", message)


def title_read(source: Source, table: str) -> str:
    """The title of the sheet that `read_workbook` reads; raises what it raises."""
    with Workbook(source.path, source.told_file) as book:
        return _chosen_sheet(book.sheets, source, table, source.told_file)[0].title


def _chosen_sheet(sheets: Sequence[SheetPart], source: Source, table: str, book: str) -> tuple[SheetPart, list[Remark]]:
    wanted = (source.sheet or table).strip()
    where = f"{PLAN_FILE}, tables, {table}"
    shown = [sheet for sheet in sheets if not sheet.is_hidden]
    for same in (lambda title: title == wanted, lambda title: title.strip().lower() == wanted.lower()):
        for sheet in (sheet for sheet in sheets if same(sheet.title)):
            if sheet.is_hidden and not source.sheet:
                message = f"the sheet {table} is hidden. Unhide it, or write `{book}#{table}` in {PLAN_FILE}."
                raise Unreadable(where, f"{book}: {message}", "sheet_is_shown")
            remark = Remark(None, None, "a hidden sheet", "the table, as it is named", "hidden_sheet_is_named")
            return sheet, [remark] if sheet.is_hidden else []
    if source.sheet:
        which = "of that name" if source.instead else source.sheet
        message = f"the workbook has no sheet {which}. Correct the name behind the # in {PLAN_FILE}."
        raise Unreadable(where, f"{book}: {message}", "file_is_there")
    if len(shown) != 1:
        kind = "sheets" if len(shown) == len(sheets) else "sheets that are not hidden"
        if not table:  # asked for by its name, outside study.yaml
            raise Unreadable(where, f"{len(shown)} {kind}. Name one of them behind a #, `{book}#` and its name.")
        message = f"{len(shown)} {kind}, none called {table}. Write `{book}#` and the sheet's name in {PLAN_FILE}."
        raise Unreadable(where, f"{book}: {message}", "file_is_there")
    n_hidden = len(sheets) - 1
    stood = "a hidden sheet beside it" if n_hidden == 1 else f"{n_hidden} hidden sheets beside it"
    remark = Remark(None, None, stood, "nothing; the sheet that is shown was read", "hidden_sheet_is_not_read")
    return shown[0], [remark] if n_hidden else []


# ── with care: openpyxl ─────────────────────────────────────────────────────────────────────────


def careful_records(xml: SheetXml) -> tuple[list[list[object]], list[Remark]]:
    """Every cell as it is stored, an `Oddity` where what is stored is no value, and what was decided on the way."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # on drop-downs and styles, which do not concern us
        packed, formats = xml.repacked(), _Formats()
        records = [
            [formats.cell(cell, row, position) for position, cell in enumerate(cells)]
            for row, cells in enumerate(_rows(packed, data_only=True), start=1)
        ]
        if re.search(rb"<(?:\w+:)?f[\s/>]", xml.sheet):
            for stored, entered in zip(records, _rows(packed, data_only=False), strict=True):
                for position, cell in enumerate(entered):
                    if cell.data_type == "f" and stored[position] is None:
                        stored[position] = Oddity.FORMULA
    return [_trimmed(record) for record in records], formats.remarks()


def _rows(packed: io.BytesIO, data_only: bool) -> Iterable[tuple]:
    import openpyxl

    book = openpyxl.load_workbook(packed, read_only=True, data_only=data_only)
    sheet = book["sheet"]
    sheet.reset_dimensions()  # some programs store a wrong extent
    n_places = 0
    for row, cells in enumerate(sheet.iter_rows(), start=1):
        n_places += len(cells)
        if n_places > MOST_PLACES or row > LAST_ROW:
            raise spread_too_far("")
        yield cells


class _Formats:
    """Cells as their number formats let them be taken."""

    def __init__(self):
        self._worded: list[Remark] = []
        self._hiding: dict[int, int] = {}  # position -> cells shown with less than they hold

    def cell(self, cell: object, row: int, position: int) -> object:
        value = cell.value
        if cell.data_type == "e":
            return Oddity.ERROR
        if value is None:
            # The stored value of a formula that gives an empty text is nothing, of the type of a text.
            return "" if cell.data_type == "str" else None
        if isinstance(value, bool) or not isinstance(value, int | float):
            return value
        number = _plain(value)
        shown = seen(number, _format_of(cell))
        if shown.is_disguise:
            return Oddity.DISGUISED
        if hides_decimals(number, shown):
            self._hiding[position] = self._hiding.get(position, 0) + 1
        if shown.before or shown.behind:
            stood, taken_for = "a number whose format adds a text", "the number and the text together"
            self._worded.append(Remark(row, position, stood, taken_for, "text_of_a_format_is_read"))
            return f"{shown.before}{number}{shown.behind}"
        return number

    def remarks(self) -> list[Remark]:
        hiding = [
            Remark(
                None,
                position,
                f"{count} number{'s' if count > 1 else ''} shown with less than is stored",
                "the stored number in full",
                "stored_number_counts",
            )
            for position, count in sorted(self._hiding.items())
        ]
        return self._worded + hiding


def _format_of(cell: object) -> str:
    try:
        return cell.number_format or "General"
    except IndexError:  # a style that the workbook does not describe
        return "General"


def _plain(value: object) -> object:
    """Whole numbers as such: a workbook does not tell 16 from 16.0."""
    if isinstance(value, float) and value.is_integer() and abs(value) < LARGEST_EXACT:
        return int(value)
    return value


def _trimmed(record: list[object]) -> list[object]:
    """An empty text is nothing, and what is empty at the end of a row too."""
    record = [None if cell == "" else cell for cell in record]
    while record and is_blank(record[-1]):
        record.pop()
    return record


# ── fast: calamine ──────────────────────────────────────────────────────────────────────────────


def quick_records(xml: SheetXml) -> list[list[object]] | None:
    """The same as `careful_records` gives of a sheet with its cells in order; nothing where it takes a closer look."""
    if not _is_plain(xml):
        return None
    from python_calamine import CalamineWorkbook

    try:
        rows = CalamineWorkbook.from_filelike(xml.repacked()).get_sheet_by_index(0).to_python(skip_empty_area=False)
    except BaseException as error:
        if isinstance(error, Exception) or type(error).__name__ == "PanicException":  # of the library's Rust part
            return None
        raise
    records = [_trimmed([_plain(value) for value in row]) for row in rows]
    inexact = any(isinstance(value, float) and not abs(value) < LARGEST_EXACT for row in records for value in row)
    return None if inexact else records


def _is_plain(xml: SheetXml) -> bool:
    """Whether nothing in the XML is of a kind that the two readers may take differently."""
    sheet = xml.sheet
    if NO_PLAIN_TEXT.search(sheet) or NO_PLAIN_TEXT.search(xml.texts) or b"<sheetData" not in sheet:
        return False
    if any(format_id not in (b"0", b"49") for format_id in _formats_in_use(xml.styles)):
        return False
    n_cells = len(re.findall(rb"<(?:\w+:)?c[\s/>]", sheet))
    longest = max((len(text) for text in xml.texts.split(b"</si>")), default=0)
    return n_cells * longest <= MOST_TEXT and n_cells == sum(1 for _ in PLAIN_CELL.finditer(sheet))


def _formats_in_use(styles: bytes) -> list[bytes]:
    """The numbers of the formats that cells may have: 0 is General, 49 text."""
    used = re.search(rb"<cellXfs[\s>](.*?)</cellXfs>", styles, re.DOTALL)
    if used is None:
        return [b"0"] if b"cellXfs" not in styles else [b"unknown"]
    return re.findall(rb"numFmtId=[\"'](\d+)", used[1])
