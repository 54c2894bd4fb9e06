"""A table as a page for a word processor: numbered caption, table whose heading repeats, footnotes.

The package around the text (styles, settings) is made once; the text of each table is written as XML, which takes a
hundredth of the time that python-docx takes for its cells.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Sequence
from datetime import datetime
from functools import cache
from xml.sax.saxutils import escape

from liftseries.report.kit.packing import FIXED_TIME, packed
from liftseries.report.kit.tables.cells import Display
from liftseries.report.kit.tables.layout import (
    INDENT,
    INTEGERS,
    MARKS,
    alignment,
    column_widths,
    text_width,
    unbroken,
)

TWIPS_PER_POINT, TWIPS_PER_MM = 20, 1440 / 25.4
SIZE_PT, NOTE_PT, CAPTION_PT = 8.0, 7.0, 9.0
MARGIN_MM, INSET_TWIPS = 18.0, 120
MOST_COLUMNS_UPRIGHT = 6
FONT = "Arial"
FLUSH_RIGHT = '<w:jc w:val="right"/>'
INDENTED = '<w:ind w:left="170"/>'
SUPERSCRIPTS = dict(zip(MARKS, "abcdefgh", strict=True))
MARK = re.compile(f"([{MARKS}]+)")
TEXT, PROPERTIES = "word/document.xml", "docProps/core.xml"
NAMESPACE = "http://schemas.openxmlformats.org/wordprocessingml/2006/main"
STYLES = {"Table text": (SIZE_PT, 1.0), "Table note": (NOTE_PT, 2.0)}  # size, and space above and below, in points


def as_docx(table: Display) -> bytes:
    """The file: A4, upright unless it has more than six columns."""
    around, properties = _shell()
    title = escape(f"{table.label}. {table.caption}" if table.label else table.caption)
    own = {TEXT: _document(table).encode(), PROPERTIES: properties.replace(b"TITLE", title.encode())}
    return packed(own, onto=around)


@cache
def _shell() -> tuple[bytes, bytes]:
    """The parts that all files share, packed, with styles for caption, cells and note; and the properties of a file."""
    from docx import Document
    from docx.enum.style import WD_STYLE_TYPE
    from docx.shared import Pt, RGBColor

    document = Document()
    properties = document.core_properties
    properties.author, properties.title, properties.comments = "", "TITLE", ""
    properties.created = properties.modified = datetime(*FIXED_TIME)
    for name in ("Normal", "Caption"):
        document.styles[name].font.name = FONT
    caption = document.styles["Caption"]
    caption.font.size, caption.font.bold, caption.font.color.rgb = Pt(CAPTION_PT), False, RGBColor(0, 0, 0)
    caption.paragraph_format.space_after, caption.paragraph_format.keep_with_next = Pt(4), True
    for name, (size, space) in STYLES.items():
        style = document.styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH)
        style.base_style = document.styles["Normal"]
        style.font.size = Pt(size)
        style.paragraph_format.space_before = style.paragraph_format.space_after = Pt(space)
        style.paragraph_format.line_spacing = 1.0
    saved = io.BytesIO()
    document.save(saved)
    with zipfile.ZipFile(saved) as file:
        parts = {name: file.read(name) for name in file.namelist()}
    return packed({name: parts[name] for name in parts if name not in (TEXT, PROPERTIES)}), parts[PROPERTIES]


def _document(table: Display) -> str:
    wide = len(table.columns) > MOST_COLUMNS_UPRIGHT
    width, height = (297, 210) if wide else (210, 297)
    margin = _twips(MARGIN_MM)
    turned = ' w:orient="landscape"' if wide else ""
    notes = "".join(_paragraph("Tablenote", _runs(line)) for line in filter(None, table.note.split("\n")))
    return (
        f'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n<w:document xmlns:w="{NAMESPACE}"><w:body>'
        f"{_caption(table)}{_table(table, _twips(width) - 2 * margin)}{notes or _paragraph('Tablenote', '')}"
        f'<w:sectPr><w:pgSz w:w="{_twips(width)}" w:h="{_twips(height)}"{turned}/><w:pgMar w:top="{margin}" '
        f'w:right="{margin}" w:bottom="{margin}" w:left="{margin}" w:header="0" w:footer="0" w:gutter="0"/></w:sectPr>'
        "</w:body></w:document>"
    )


def _twips(mm: float) -> int:
    return round(mm * TWIPS_PER_MM)


def _caption(table: Display) -> str:
    """`Table S5. …`: its number is a field, which goes on counting from it where it is pasted into a manuscript."""
    told = _run(f"{table.label and '. '}{table.caption}")
    if not table.label:
        return _paragraph("Caption", told)
    before, number = re.fullmatch(r"(\D*)(\d+)", table.label).groups()
    counted = f'<w:fldSimple w:instr=" SEQ {before.strip().replace(" ", "_")} \\* ARABIC \\r {number} ">'
    field = f"{counted}{_run(number, bold=True)}</w:fldSimple>"
    return _paragraph("Caption", _run(before, bold=True) + field + told)


def _table(table: Display, available: int) -> str:
    """Thin lines above, below and between rows; none upright. The first row is the heading of every page."""
    size = SIZE_PT * TWIPS_PER_POINT
    widths = [round(width) for width in column_widths(table, available, size, INSET_TWIPS)]
    edges = (("top", 8), ("bottom", 8), ("insideH", 4))
    lines = "".join(f'<w:{edge} w:val="single" w:sz="{thick}" w:space="0" w:color="808080"/>' for edge, thick in edges)
    sides = "".join(f'<w:{side} w:w="{INSET_TWIPS // 2}" w:type="dxa"/>' for side in ("left", "right"))
    grid = "".join(f'<w:gridCol w:w="{width}"/>' for width in widths)
    styles = [_alignment(table, column, size) for column in range(len(table.columns))]
    headings = [FLUSH_RIGHT if alignment(table, k) == "right" else "" for k in range(len(styles))]
    rows = [_row(table.columns, headings, widths, "<w:tblHeader/>", bold=True)]
    rows += [_row(cells, styles, widths) for cells in table.rows]
    return (
        f'<w:tbl><w:tblPr><w:tblW w:w="{sum(widths)}" w:type="dxa"/><w:tblBorders>{lines}</w:tblBorders>'
        f'<w:tblLayout w:type="fixed"/><w:tblCellMar>{sides}</w:tblCellMar></w:tblPr>'
        f"<w:tblGrid>{grid}</w:tblGrid>{''.join(rows)}</w:tbl>"
    )


def _alignment(table: Display, column: int, size: float) -> str:
    """What a paragraph of this column needs: a stop at the decimal point, flush right, or nothing."""
    kind = alignment(table, column)
    if kind == "right":
        return FLUSH_RIGHT
    if kind == "left":
        return ""
    before_point = max(text_width(INTEGERS.match(row[column])[0]) for row in table.rows)
    return f'<w:tabs><w:tab w:val="decimal" w:pos="{round(before_point * size)}"/></w:tabs>'


def _row(cells: Sequence[str], formats: Sequence[str], widths: Sequence[int], of_row: str = "", bold: bool = False):
    set_cells = "".join(
        f'<w:tc><w:tcPr><w:tcW w:w="{width}" w:type="dxa"/></w:tcPr>{_cell(cell, how, bold)}</w:tc>'
        for cell, how, width in zip(cells, formats, widths, strict=True)
    )
    return f"<w:tr><w:trPr><w:cantSplit/>{of_row}</w:trPr>{set_cells}</w:tr>"


def _cell(text: str, how: str, bold: bool) -> str:
    indented = INDENTED if text.startswith(INDENT) else ""
    return _paragraph("Tabletext", _runs(unbroken(text.strip(" ")), bold), indented + how)


def _paragraph(style: str, runs: str, how: str = "") -> str:
    return f'<w:p><w:pPr><w:pStyle w:val="{style}"/>{how}</w:pPr>{runs}</w:p>'


def _runs(text: str, bold: bool = False) -> str:
    """The text, with the letters that point to a footnote raised."""
    return "".join(
        _run("".join(SUPERSCRIPTS[mark] for mark in part), bold, raised=True)
        if MARK.fullmatch(part)
        else _run(part, bold)
        for part in MARK.split(text)
        if part
    )


def _run(text: str, bold: bool = False, raised: bool = False) -> str:
    told = ("<w:b/>" if bold else "") + ('<w:vertAlign w:val="superscript"/>' if raised else "")
    return f'<w:r>{f"<w:rPr>{told}</w:rPr>" if told else ""}<w:t xml:space="preserve">{escape(text)}</w:t></w:r>'
