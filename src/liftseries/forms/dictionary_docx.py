"""The data dictionary as a Word document: a heading a table, a line a column, to print or to put into a protocol."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from docx import Document
from docx.enum.section import WD_ORIENT
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Mm, Pt, RGBColor

from liftseries.base.outputs import written_whole
from liftseries.forms.dictionary import HEADINGS, LEAD, TITLE, Entry, about, entries
from liftseries.study.schema import Table

LANGUAGE = "en-GB"
FONT = "Arial"
TEXT, CELL = Pt(10), Pt(8)
INK, BAND = RGBColor(0x1D, 0x27, 0x30), "E6EEEC"
PAGE_MM, MARGIN_MM = (297, 210), 15
WIDTHS_MM = (37, 45, 27, 50, 45, 22, 41)  # a column of the page each, in the order of HEADINGS


def write_dictionary_docx(schema: Mapping[str, Table], path: Path | str) -> None:
    """The dictionary of all tables, A4 across; the heading line of each repeats on every page."""
    document = Document()
    _set_up(document)
    document.add_heading(TITLE, level=0)
    document.add_paragraph(LEAD)
    for table in schema.values():
        document.add_heading(f"{table.title} ({table.name})", level=1)
        document.add_paragraph(about(table))
        _add_grid(document, table)
        for rule in table.rules:
            document.add_paragraph(f"Checked in every row: {rule.holds}.")
    with written_whole(path) as temporary:
        document.save(str(temporary))


def _set_up(document) -> None:
    properties = document.core_properties
    properties.title, properties.language = TITLE, LANGUAGE
    properties.author = properties.comments = ""
    normal = document.styles["Normal"]
    normal.font.size = TEXT
    normal.paragraph_format.space_after = Pt(4)
    for name, size in (("Normal", TEXT), ("Title", Pt(20)), ("Heading 1", Pt(14))):
        style = document.styles[name]
        style.font.name, style.font.size, style.font.color.rgb = FONT, size, INK
        # A heading of the template names a font of the theme, which would win over ours.
        fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
        for theme in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
            fonts.attrib.pop(qn(f"w:{theme}"), None)
    language = document.styles.element.find(f".//{qn('w:rPrDefault')}//{qn('w:lang')}")
    language.set(qn("w:val"), LANGUAGE)
    section = document.sections[0]
    section.orientation = WD_ORIENT.LANDSCAPE
    section.page_width, section.page_height = map(Mm, PAGE_MM)
    section.left_margin = section.right_margin = section.top_margin = section.bottom_margin = Mm(MARGIN_MM)
    _number_pages(section)


def _number_pages(section) -> None:
    footer = section.footer.paragraphs[0]
    footer.add_run(f"{TITLE}, page ").font.size = CELL
    field = OxmlElement("w:fldSimple")
    field.set(qn("w:instr"), "PAGE")
    footer._p.append(field)


def _add_grid(document, table: Table) -> None:
    grid = document.add_table(rows=1, cols=len(HEADINGS))
    grid.autofit = False
    _rule_lines(grid)
    _tell_readers(grid, table)
    for cell, heading in zip(grid.rows[0].cells, HEADINGS, strict=True):
        _write(cell, heading, bold=True)
        _shade(cell)
    _mark(grid.rows[0], "w:tblHeader")
    for entry in entries(table):
        row = grid.add_row()
        _mark(row, "w:cantSplit")
        name, *others = row.cells
        _write_name(name, entry)
        for cell, text in zip(others, entry.cells, strict=True):
            _write(cell, text)
    for width, column in zip(WIDTHS_MM, grid.columns, strict=True):
        column.width = Mm(width)
        for cell in column.cells:
            cell.width = Mm(width)


def _write_name(cell, entry: Entry) -> None:
    _write(cell, entry.name, bold=True)
    title = cell.add_paragraph()
    title.paragraph_format.space_after = Pt(0)
    title.add_run(entry.title).font.size = CELL


def _write(cell, text: str, bold: bool = False) -> None:
    paragraph = cell.paragraphs[0]
    paragraph.paragraph_format.space_after = Pt(0)
    run = paragraph.add_run(text)
    run.font.size, run.bold = CELL, bold


def _mark(row, name: str) -> None:
    row._tr.get_or_add_trPr().append(OxmlElement(name))


def _shade(cell) -> None:
    shade = OxmlElement("w:shd")
    for name, value in (("val", "clear"), ("color", "auto"), ("fill", BAND)):
        shade.set(qn(f"w:{name}"), value)
    cell._tc.get_or_add_tcPr().append(shade)


def _rule_lines(grid) -> None:
    borders = OxmlElement("w:tblBorders")
    for edge in ("top", "bottom", "insideH"):
        line = OxmlElement(f"w:{edge}")
        for name, value in (("val", "single"), ("sz", "4"), ("space", "0"), ("color", "808080")):
            line.set(qn(f"w:{name}"), value)
        borders.append(line)
    grid._tbl.tblPr.append(borders)


def _tell_readers(grid, table: Table) -> None:
    """Title and description that a screen reader speaks."""
    for name, text in (("w:tblCaption", table.title), ("w:tblDescription", about(table))):
        said = OxmlElement(name)
        said.set(qn("w:val"), text)
        grid._tbl.tblPr.append(said)
