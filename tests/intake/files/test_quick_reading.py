"""The faster reader of workbooks gives what the careful one gives, cell by cell and type by type, or nothing."""

from __future__ import annotations

import contextlib
import io
import zipfile

import openpyxl
from hypothesis import event, given, settings
from hypothesis import strategies as st

from liftseries.intake.files.workbook_layout import layout_of
from liftseries.intake.files.workbook_parts import EMPTY_STYLES, MAIN, Damaged, SheetXml
from liftseries.intake.files.workbooks import careful_records, quick_records

# ── workbooks as a library writes them ────────────────────────────────────────────────────────────

texts = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=6)
cells = st.one_of(
    st.none(),
    st.integers(-(10**17), 10**17),
    st.floats(allow_nan=False, allow_infinity=False),
    st.floats(-20, 20).map(lambda number: round(number, 2)),
    st.booleans(),
    texts,
    st.sampled_from(["", " ", "16", " 16 ", "5,2", "a\nb", "a\tb", "a\r\nb", "_x000D_", "'5", '&<>"', "TRUE", "#N/A"]),
    st.sampled_from(["=1+1", "2020-06-01", "\u00a0x\u00a0", "1e5", "0012", "x" * 300]),
)
formats = st.sampled_from(["General", "General", "General", "@", "0.00", "0%", "0", "yyyy-mm-dd", '0.0" mm"', "#,##0"])


@st.composite
def books(draw):
    """Up to five rows of up to four cells, some with a number format; sometimes something joined or hidden."""
    book = openpyxl.Workbook()
    sheet = book.active
    plain = draw(st.booleans())
    for row, of_row in enumerate(draw(st.lists(st.lists(cells, max_size=4), max_size=5)), start=1):
        for column, value in enumerate(of_row, start=1):
            try:
                cell = sheet.cell(row, column, value)
            except Exception:
                continue  # the library does not take such a text
            if plain and cell.data_type == "f":
                cell.data_type = "s"
            cell.number_format = "General" if plain else draw(formats)
    if not plain and draw(st.booleans()):
        draw(st.sampled_from([_merge, _hide_row, _hide_column, _filter]))(sheet)
    return book


def _merge(sheet):
    sheet.merge_cells("A1:A2")


def _hide_row(sheet):
    sheet.row_dimensions[2].hidden = True


def _hide_column(sheet):
    sheet.column_dimensions["B"].hidden = True


def _filter(sheet):
    sheet.auto_filter.ref = "A1:B4"
    sheet.auto_filter.add_filter_column(0, ["x"])


def parts_of(book: openpyxl.Workbook) -> SheetXml:
    stored = io.BytesIO()
    book.save(stored)
    with zipfile.ZipFile(stored) as parts:
        read = {name: parts.read(name) for name in parts.namelist()}
    return SheetXml(
        read["xl/worksheets/sheet1.xml"], read.get("xl/sharedStrings.xml", b""), read["xl/styles.xml"], False
    )


def assert_same_or_nothing(xml: SheetXml) -> None:
    """Cells out of order are refused before either reader is asked."""
    layout_of(xml.sheet)
    quick = quick_records(xml)
    event("read fast" if quick is not None else "left to the careful reader")
    if quick is not None:
        records, remarks = careful_records(xml)
        assert typed(quick) == typed(records)
        assert remarks == []


def typed(records: list[list[object]]) -> list[list[tuple[str, str]]]:
    """With the type of each cell, and numbers to the last bit; empty rows at the end are none."""
    written = [
        [(type(cell).__name__, cell.hex() if isinstance(cell, float) else str(cell)) for cell in row] for row in records
    ]
    while written and not written[-1]:
        written.pop()
    return written


@settings(max_examples=300, deadline=None, derandomize=True)
@given(book=books())
def test_written_by_a_library(book):
    assert_same_or_nothing(parts_of(book))


# ── XML that other programs may write, and some that none should ──────────────────────────────────

PLAIN = ["/>", "></c>", "><v>5</v></c>", "><v>-0</v></c>", "><v>16.0</v></c>", "><v>1E2</v></c>", "><v>1e400</v></c>"]
PLAIN += [' t="n"><v>5.2</v></c>', ' t="n"></c>', ' t="s"><v>0</v></c>', ' t="s"><v>1</v></c>', ' t="s"><v>2</v></c>']
PLAIN += [' t="s"><v>9</v></c>', ' t="b"><v>1</v></c>', ' t="b"><v>0</v></c>', ' t="inlineStr"><is><t>x</t></is></c>']
PLAIN += [' t="inlineStr"><is><t xml:space="preserve"> &lt;x&#10; </t></is></c>', ' t="inlineStr"><is><t></t></is></c>']
NUMBERS = [
    " 5 ",
    "+5",
    "5.",
    ".5",
    "0x10",
    "inf",
    "NaN",
    "",
    "5,2",
    "1_000",
    "٥",
    "true",
    "x",
    "-1",
    "&#10;5",
    "<!-- -->",
]
INSIDES = [f"<v>{number}</v>" for number in NUMBERS]
INSIDES += [
    "",
    "<v/>",
    "<v>2</v>",
    "<f>A1</f><v>5</v>",
    "<f>A1</f>",
    "<v>5</v><v>6</v>",
    "<t>y</t>",
    "<is><t>x</t></is>",
]
INSIDES += ["<is><r><t>a</t></r><r><t>b</t></r></is>", "<is><t xml:space='preserve'> x </t></is>", "<v>5.2</v>"]
KINDS = ["", ' t="n"', ' t="s"', ' t="b"', ' t="inlineStr"', ' t="str"', ' t="e"', ' t="d"']

any_number = st.floats(allow_nan=False, allow_infinity=False).map(lambda number: f"><v>{number!r}</v></c>")
plain = st.sampled_from(PLAIN) | any_number
wild = plain | st.builds("{}>{}</c>".format, st.sampled_from(KINDS), st.sampled_from(INSIDES))
once_in_a_while = st.integers(0, 9).map(lambda number: number == 0)


@st.composite
def sheets(draw):
    is_wild, rows, row = draw(st.booleans()), "", 0
    for _ in range(draw(st.integers(0, 4))):
        row += draw(st.integers(1, 3))
        column, of_row = 0, ""
        for _ in range(draw(st.integers(0, 3))):
            column += draw(st.sampled_from([1, 1, 2, 0] if is_wild else [1, 1, 2]))
            place = "" if is_wild and draw(once_in_a_while) else f' r="{"ABCDEFGHIJ"[max(column, 1) - 1]}{row}"'
            style = draw(st.sampled_from(["", ' s="0"', ' s="1"', *([' s="7"'] if is_wild else [])]))
            of_row += f"<c{place}{style}{draw(wild if is_wild else plain)}"
        more = draw(st.sampled_from(["", "", ' spans="1:3"', ' ht="15"', ' hidden="1"', ' ht="0"']))
        place = "" if is_wild and draw(once_in_a_while) else f' r="{row}"'
        rows += f"<row{place}{more}>{of_row}</row>"
    before = draw(st.sampled_from(["", '<dimension ref="A1:B2"/>', '<cols><col min="1" max="2" width="0"/></cols>']))
    behind = draw(st.sampled_from(["", '<mergeCells><mergeCell ref="A1:A2"/></mergeCells>', '<pageMargins left="1"/>']))
    return f'<worksheet xmlns="{MAIN}">{before}<sheetData>{rows}</sheetData>{behind}</worksheet>'.encode()


STRINGS = (
    f'<sst xmlns="{MAIN}" count="3"><si><t>one</t></si><si><t xml:space="preserve"> two </t></si>'
    "<si><r><t>th</t></r><r><t>ree</t></r></si></sst>"
).encode()
STYLES = f'<styleSheet xmlns="{MAIN}"><cellXfs><xf numFmtId="0"/><xf numFmtId="{{}}"/></cellXfs></styleSheet>'


@settings(max_examples=1000, deadline=None, derandomize=True)
@given(
    sheet=sheets(),
    strings=st.sampled_from([STRINGS, STRINGS, b""]),
    used=st.sampled_from([EMPTY_STYLES, *(STYLES.format(number).encode() for number in (0, 49, 14))]),
)
def test_written_by_anything(sheet, strings, used):
    """Where the careful reader would stumble, the fast one must not have read either."""
    xml = SheetXml(sheet, strings, used, False)
    with contextlib.suppress(Damaged):
        assert_same_or_nothing(xml)
