"""A table as a file: CSV for a spreadsheet, DOCX for a manuscript; a rerun gives the same bytes."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import datetime
from pathlib import Path

from liftseries.base.outputs import write_text, written_whole
from liftseries.report.kit.tables.cells import Display

FIXED_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can hold: a rerun gives the same bytes


def write_tables(tables: dict[str, Display], folder: Path | str) -> None:
    """Each table as `folder/name.csv` and `folder/name.docx`; a rerun gives the same bytes."""
    for table in tables.values():
        write_text(Path(folder) / f"{table.name}.csv", as_csv(table))
        with written_whole(Path(folder) / f"{table.name}.docx") as temporary:
            temporary.write_bytes(as_docx(table))


def as_csv(table: Display) -> str:
    """Headings and rows as they are printed."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(table.columns)
    writer.writerows([cell.strip() for cell in row] for row in table.rows)
    return text.getvalue()


def as_docx(table: Display) -> bytes:
    """A page with caption, table (its heading repeats on every page) and note."""
    from docx import Document
    from docx.enum.section import WD_ORIENT
    from docx.shared import Mm, Pt

    document = Document()
    properties = document.core_properties
    properties.author, properties.title = "", table.caption
    properties.comments = ""
    properties.created = properties.modified = datetime(*FIXED_TIME)
    style = document.styles["Normal"]
    style.font.name, style.font.size = "DejaVu Sans", Pt(8)
    style.paragraph_format.space_after = Pt(4)
    section = document.sections[0]
    wide = len(table.columns) > 5
    width, height = (Mm(297), Mm(210)) if wide else (Mm(210), Mm(297))
    section.orientation = WD_ORIENT.LANDSCAPE if wide else WD_ORIENT.PORTRAIT
    section.page_width, section.page_height = width, height
    section.left_margin = section.right_margin = section.top_margin = section.bottom_margin = Mm(18)
    document.add_paragraph().add_run(table.caption).bold = True
    _docx_table(document, table)
    if table.note:
        document.add_paragraph(table.note)
    buffer = io.BytesIO()
    document.save(buffer)
    return _same_bytes(buffer.getvalue())


def _docx_table(document, table: Display) -> None:
    """Cells set through the XML: python-docx's own way is quadratic in the number of rows."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    grid = document.add_table(rows=1, cols=len(table.columns))
    _rules(grid)
    for cell, heading in zip(grid.rows[0].cells, table.columns, strict=True):
        cell.paragraphs[0].add_run(heading).bold = True
    repeat = OxmlElement("w:tblHeader")
    repeat.set(qn("w:val"), "true")
    grid.rows[0]._tr.get_or_add_trPr().append(repeat)
    for texts in table.rows:
        row = grid.add_row()
        whole = OxmlElement("w:cantSplit")
        row._tr.get_or_add_trPr().append(whole)
        for cell, text in zip(row._tr.tc_lst, texts, strict=True):
            run = cell.p_lst[0].add_r()
            run.text = text.replace("   ", "\u2003")


def _rules(grid) -> None:
    """Thin lines above, below and between rows; none upright."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    borders = OxmlElement("w:tblBorders")
    for edge, size in (("top", "8"), ("bottom", "8"), ("insideH", "4")):
        line = OxmlElement(f"w:{edge}")
        for name, value in (("val", "single"), ("sz", size), ("space", "0"), ("color", "808080")):
            line.set(qn(f"w:{name}"), value)
        borders.append(line)
    grid._tbl.tblPr.append(borders)


def _same_bytes(docx: bytes) -> bytes:
    """The zip with fixed times, order and attributes."""
    rewritten = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(docx)) as old,
        zipfile.ZipFile(rewritten, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in sorted(old.namelist(), key=lambda name: (name != "[Content_Types].xml", name)):
            entry = zipfile.ZipInfo(name, FIXED_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, old.read(name))
    return rewritten.getvalue()
