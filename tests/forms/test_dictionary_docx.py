"""The data dictionary as a document: what a reader, a printer and a screen reader find in it."""

from __future__ import annotations

import docx
import pytest
from docx.enum.section import WD_ORIENT
from docx.oxml.ns import qn

from liftseries.forms.dictionary import HEADINGS, entries
from liftseries.forms.dictionary_docx import write_dictionary_docx
from liftseries.study.schema import read_schema

OWN = {"sites": {"flapless": {"type": "category", "levels": ["no", "yes"], "description": "Without a flap."}}}
SCHEMA = read_schema(OWN)


@pytest.fixture(scope="module")
def document(tmp_path_factory):
    path = tmp_path_factory.mktemp("dictionary") / "dictionary.docx"
    write_dictionary_docx(SCHEMA, path)
    return docx.Document(path)


def test_a_heading_and_a_grid_a_table(document):
    headings = [paragraph.text for paragraph in document.paragraphs if paragraph.style.name == "Heading 1"]
    assert headings == [f"{table.title} ({table.name})" for table in SCHEMA.values()]
    for grid, table in zip(document.tables, SCHEMA.values(), strict=True):
        header, *lines = ([cell.text for cell in row.cells] for row in grid.rows)
        assert header == list(HEADINGS)
        assert lines == [[f"{entry.name}\n{entry.title}", *entry.cells] for entry in entries(table)]


def test_columns_of_a_study_s_own_are_in_it(document):
    assert any("Without a flap." in cell.text for row in document.tables[1].rows for cell in row.cells)


def test_header_line_repeats_and_no_line_is_torn(document):
    for grid in document.tables:
        first, *others = grid.rows
        assert first._tr.trPr.find(qn("w:tblHeader")) is not None
        assert all(row._tr.trPr.find(qn("w:cantSplit")) is not None for row in others)


def test_widths_fill_the_page_across_and_no_more(document):
    (section,) = document.sections
    assert section.orientation == WD_ORIENT.LANDSCAPE
    within = section.page_width - section.left_margin - section.right_margin
    for grid in document.tables:
        assert sum(column.width for column in grid.columns) == pytest.approx(within, rel=0.001)


def test_no_text_is_smaller_than_8_points(document):
    sizes = [style.font.size.pt for style in document.styles if getattr(style, "font", None) and style.font.size]
    runs = [run for paragraph in document.paragraphs for run in paragraph.runs]
    runs += [run for grid in document.tables for row in grid.rows for cell in row.cells
             for paragraph in cell.paragraphs for run in paragraph.runs]  # fmt: skip
    assert min([*sizes, *(run.font.size.pt for run in runs if run.font.size)]) >= 8


def test_language_title_and_descriptions_are_set_for_a_screen_reader(document):
    languages = {lang.get(qn("w:val")) for lang in document.styles.element.iter(qn("w:lang"))}
    assert languages == {"en-GB"}
    assert document.core_properties.title == "Data dictionary"
    for grid, table in zip(document.tables, SCHEMA.values(), strict=True):
        assert grid._tbl.tblPr.find(qn("w:tblCaption")).get(qn("w:val")) == table.title
        assert table.means in grid._tbl.tblPr.find(qn("w:tblDescription")).get(qn("w:val"))
