"""DOCX tables: numbered caption, repeated heading, decimal points in line, footnotes; nothing that a program needs."""

import io
import re
import zipfile

import pytest
from docx import Document
from docx.enum.section import WD_ORIENT
from docx.enum.text import WD_ALIGN_PARAGRAPH, WD_TAB_ALIGNMENT
from docx.oxml.ns import qn
from made_series import KINDS

from liftseries.report.kit.tables.cells import Display
from liftseries.report.pages.docx_table import MOST_COLUMNS_UPRIGHT, as_docx

TABLE = Display(
    name="made_up",
    caption="Implants & months <made up>.",
    columns=("Implants", "Followedᵃ", "Month 12, %", "Why"),
    rows=(("All", "632", "97.3% (95.3% to 98.4%)", "none"), ("   <4 mm", "9", "100.0%ᵇ", "few were seen there")),
    note="ᵃ At any visit.\nᵇ A bound.",
    keys=("survival.km · all · 12", "survival.km · rbh_band=<4 · 12"),
    label="Table S5",
)


def read(table: Display):
    return Document(io.BytesIO(as_docx(table)))


@pytest.mark.parametrize("kind", KINDS)
def test_a_word_processor_reads_every_table_as_it_is_printed(written, kind):
    for table in written[kind].tables.values():
        document = read(table)
        (grid,) = document.tables
        told = [[cell.text.replace(chr(0xA0), " ") for cell in row.cells] for row in grid.rows]
        plain = [[plain_marks(cell.strip()) for cell in row] for row in (table.columns, *table.rows)]
        assert [[plain_marks(cell) for cell in row] for row in told] == plain, table.name
        assert document.paragraphs[0].text.endswith(table.caption)


def plain_marks(text: str) -> str:
    return text.translate(dict(zip(map(ord, "ᵃᵇᶜᵈᵉᶠᵍʰ"), "abcdefgh", strict=True)))


def test_the_caption_is_numbered_by_a_field():
    caption = read(TABLE).paragraphs[0]
    assert caption.style.name == "Caption"
    field = caption._p.find(qn("w:fldSimple"))
    assert field.get(qn("w:instr")).split() == ["SEQ", "Table_S", r"\*", "ARABIC", r"\r", "5"]
    told = "".join(text.text for text in caption._p.iter(qn("w:t")))
    assert told == "Table S5. Implants & months <made up>."
    unnumbered = Display("made_up", "Made up.", ("a",), (("b",),))
    assert read(unnumbered).paragraphs[0].text == "Made up."


def test_the_heading_repeats_and_no_row_is_torn():
    (grid,) = read(TABLE).tables
    repeated = [row._tr.find(f"{qn('w:trPr')}/{qn('w:tblHeader')}") is not None for row in grid.rows]
    assert repeated == [True, False, False]
    assert all(row._tr.find(f"{qn('w:trPr')}/{qn('w:cantSplit')}") is not None for row in grid.rows)


def test_counts_stand_flush_right_and_decimals_at_their_point():
    (grid,) = read(TABLE).tables
    name, count, share, word = (cell.paragraphs[0] for cell in grid.rows[2].cells)
    assert name.text == "<4\u00a0mm"
    assert name.paragraph_format.left_indent is not None
    assert count.alignment == WD_ALIGN_PARAGRAPH.RIGHT
    assert [stop.alignment for stop in share.paragraph_format.tab_stops] == [WD_TAB_ALIGNMENT.DECIMAL]
    assert word.alignment is None
    assert not list(word.paragraph_format.tab_stops)


def test_footnotes_stand_below_with_raised_letters():
    document = read(TABLE)
    notes = [paragraph for paragraph in document.paragraphs if paragraph.style.name == "Table note"]
    assert [note.text for note in notes] == ["a At any visit.", "b A bound."]
    raised = [run.text for note in notes for run in note.runs if run.font.superscript]
    raised += [
        r.text for row in document.tables[0].rows for c in row.cells for r in c.paragraphs[0].runs if r.font.superscript
    ]
    assert sorted(raised) == ["a", "a", "b", "b"]


def test_a_page_is_upright_unless_the_table_is_wide():
    for n in (MOST_COLUMNS_UPRIGHT, MOST_COLUMNS_UPRIGHT + 1):
        wide = Display("made_up", "Made up.", tuple("abcdefgh"[:n]), (tuple("12345678"[:n]),))
        (section,) = read(wide).sections
        assert (section.orientation == WD_ORIENT.LANDSCAPE) == (n > MOST_COLUMNS_UPRIGHT)
        assert sorted([round(section.page_width.mm), round(section.page_height.mm)]) == [210, 297]
        assert sum(column.width for column in read(wide).tables[0].columns) <= section.page_width


def test_nothing_in_it_tells_of_a_program_a_time_or_a_key():
    packed = as_docx(TABLE)
    assert packed == as_docx(TABLE)
    with zipfile.ZipFile(io.BytesIO(packed)) as file:
        assert {entry.date_time for entry in file.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        text, core = file.read("word/document.xml").decode(), file.read("docProps/core.xml").decode()
    assert "survival.km" not in text
    assert "python" not in core.lower()
    assert re.findall(r"\d{4}-\d\d-\d\dT[\d:]*Z", core) == ["1980-01-01T00:00:00Z"] * 2
