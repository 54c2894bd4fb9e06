"""Pages: files that open offline and can be heard as well as seen; tagged PDFs; the same bytes twice."""

import itertools
import re
from dataclasses import replace
from functools import cached_property
from html.parser import HTMLParser
from typing import NamedTuple
from urllib.parse import unquote

import pytest
from made_series import KINDS, PLAN

from liftseries.report.kit.blocks import Report
from liftseries.report.kit.declarations import NARROW
from liftseries.report.kit.drawing import draw_figure
from liftseries.report.kit.figures.style import save
from liftseries.report.kit.material import read_material, with_figures
from liftseries.report.kit.tables.cells import traced
from liftseries.report.kit.writer import write
from liftseries.report.pages.page import anchors_in, render_html
from liftseries.report.pages.pdf_page import render_pdf
from liftseries.report.pages.report_files import write_all, write_figures
from liftseries.report.purposes import purpose

MARKER = "ZZ-MARKER-NAME"
PURPOSE = purpose("publication")
DOCUMENTS = [document.name for document in PURPOSE.documents]
LANDMARKS = ("header", "nav", "main", "footer")
MEGABYTE = 1e6


class Page(HTMLParser):
    """The elements of a page, in order, and all its text."""

    def __init__(self, page: str):
        super().__init__()
        self.elements: list[tuple[str, dict]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in ("meta", "img", "br", "link", "input", "source"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)

    def all(self, tag: str) -> list[dict]:
        return [attributes for name, attributes in self.elements if name == tag]

    @cached_property
    def ids(self) -> list[str]:
        return [attributes["id"] for _, attributes in self.elements if "id" in attributes]

    @cached_property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))


class Document(NamedTuple):
    """A document, its page as it is written and as it is read, and the page of its sister."""

    report: Report
    source: str
    page: Page
    sister: Page


@pytest.fixture(scope="module")
def parsed(pages) -> dict[tuple[str, str], Page]:
    """Every page of every series."""
    return {(kind, name): Page(source) for kind, found in pages.items() for name, source in found.items()}


@pytest.fixture(params=[(kind, name) for kind in KINDS for name in DOCUMENTS], ids="-".join)
def document(request, written, pages, parsed) -> Document:
    """Each document of every series."""
    kind, name = request.param
    (report,) = (report for report in written[kind].reports if report.name == name)
    (sister,) = set(DOCUMENTS) - {name}
    return Document(report, pages[kind][name], parsed[kind, name], parsed[kind, sister])


def blocks(report: Report, *kinds: str) -> list:
    return [block for chapter in report.chapters for block in chapter.blocks if block.kind in kinds]


def test_page_is_well_formed_small_and_asks_for_nothing(document):
    _, source, page, _ = document
    assert page.open == []
    assert len(source) < 3 * MEGABYTE
    assert not re.search(r"https?:|//[a-z]|url\(|@import", re.sub(r'data:image/svg\+xml,[^ "]*"', "", source))
    assert page.all("script") == page.all("link") == page.all("iframe") == []
    pictures = [one["src"] for one in page.all("img")] + [one["srcset"] for one in page.all("source")]
    for begin, _, picture in (address.partition(",") for address in pictures):
        assert begin == "data:image/svg+xml"
        assert not re.search(r'href="(?!#)|url\((?!#)|@import|<(?:script|image)', unquote(picture))


def test_page_can_be_heard(document):
    report, _, page, _ = document
    tags = [tag for tag, _ in page.elements]
    assert page.all("html") == [{"lang": "en"}]
    assert [tags.count(landmark) for landmark in LANDMARKS] == [1] * len(LANDMARKS)
    assert page.elements[tags.index("body") + 1] == ("a", {"class": "skip", "href": "#main"})
    assert len(page.all("h1")) == 1
    levels = [int(tag[1]) for tag in tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert all(later - earlier <= 1 for earlier, later in itertools.pairwise(levels))
    for attributes in page.all("img"):
        assert len(attributes["alt"]) > 30
    assert len(page.all("img")) == len(blocks(report, "figure"))
    assert len(page.all("caption")) == len(page.all("table"))
    for attributes in page.all("th"):
        assert attributes["scope"] in ("col", "row")
    for attributes in page.all("section"):
        assert attributes.keys() & {"aria-label", "aria-labelledby"}


def test_every_link_leads_somewhere(document):
    report, _, page, sister = document
    assert len(page.ids) == len(set(page.ids))
    assert [one["href"] for one in page.all("a")][1 : len(report.chapters) + 1] == [f"#{c.id}" for c in report.chapters]
    (other,) = report.beside
    for attributes in page.all("a"):
        file, _, anchor = attributes["href"].partition("#")
        assert file in ("", f"{other}.html")
        assert not anchor or anchor in (sister.ids if file else page.ids)
    for _, attributes in page.elements:
        assert set(attributes.get("aria-labelledby", "").split()) <= set(page.ids)


def test_page_says_the_notices_before_any_number(document):
    report, _, page, _ = document
    text = page.text
    assert report.notices == PURPOSE.notices
    first = report.chapters[0].title
    for notice in report.notices:
        assert text.index(notice) < text.index(first, text.index(notice))
    for words in ("not a medical device", "no advice for a patient in the chair", "licensed clinical judgement"):
        assert words in text


def test_figures_and_tables_are_labelled_in_reading_order(document):
    report, source, _, _ = document
    prefix = next(one.prefix for one in PURPOSE.documents if one.name == report.name)
    for word, kind in (("Figure", "figure"), ("Table", "table")):
        labels = [block.label for block in blocks(report, kind)]
        assert labels == [f"{word} {prefix}{k + 1}" for k in range(len(labels))]
        for label in labels:
            assert f"<b>{label}.</b>" in source


def test_a_document_names_no_figure_or_table_that_is_not_there(document, written):
    report, _, page, _ = document
    labels = {label for found in written.values() if report in found.reports for label in anchors_in(found.reports)}
    assert set(re.findall(r"\b(?:Figure|Table) S?\d+\b", page.text)) <= labels


def test_no_chapter_is_empty_and_numbers_follow_each_other(document):
    report = document.report
    prefix = next(one.prefix for one in PURPOSE.documents if one.name == report.name)
    assert all(chapter.blocks for chapter in report.chapters)
    numbers = [chapter.number for chapter in report.chapters if chapter.number]
    assert numbers == [f"{prefix}{k + 1}" for k in range(len(numbers))]


def test_chapters_stand_in_declared_order(document):
    report = document.report
    declared = [chapter.id for one in PURPOSE.documents if one.name == report.name for chapter in one.chapters]
    found = [chapter.id for chapter in report.chapters]
    assert found == [name for name in declared if name in found]


def test_a_wide_figure_has_a_layout_for_phones_on_the_page(document):
    report, _, page, _ = document
    wide = [figure for figure in blocks(report, "figure") if figure.width_mm > 100]
    assert [figure.name for figure in wide if figure.narrow is None] == []
    assert len(page.all("source")) == sum(figure.narrow is not None for figure in blocks(report, "figure"))


def test_keys_stand_on_the_page_behind_the_control_and_nowhere_else(document):
    report, source, page, _ = document
    assert [one["id"] for one in page.all("input")] == ["show-keys"]
    shown = {key for table in blocks(report, "table") for key in traced(table.display) if table.display.keys}
    for key in shown - {key for table in blocks(report, "table") for key in table.display.holds}:
        assert key.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") in source
    for table in blocks(report, "table"):
        assert all(len(row) == len(table.display.columns) for row in table.display.rows)


@pytest.mark.parametrize("kind", KINDS)
def test_every_table_and_figure_that_is_left_stands_in_a_document(written, outputs, kind, tmp_path):
    reports = written[kind].reports
    tables = {table.display.name for report in reports for table in blocks(report, "table")}
    assert set(written[kind].tables) - {table.name for table in PURPOSE.further_tables} <= tables
    figures = [figure.name for report in reports for figure in blocks(report, "figure")]
    write_figures(written[kind], [outputs[kind] / "figures"], tmp_path / "figures")
    assert sorted(figures) == sorted(path.stem for path in (tmp_path / "figures").glob("*.svg"))
    assert {path.stem for path in (tmp_path / "figures" / NARROW).iterdir()} <= set(figures)
    assert len(figures) == len(set(figures))


def test_hashes_of_what_was_read_stand_in_the_supplement(parsed):
    assert "ab" * 32 in parsed["full", "supplement"].text


def test_ids_of_patients_and_sites_stay_out(made, tmp_path):
    """A pseudonym may still be a name: give every id a marker and look for it in all that is written."""
    series = made["full"]
    marked = series.cases.assign(
        site_id=MARKER + series.cases["site_id"],
        patient_id=MARKER + series.cases["patient_id"],
        operator=MARKER,
    )
    visits = series.visits.assign(site_id=MARKER + series.visits["site_id"])
    output = series.leave_in(tmp_path)
    for name, drawing in replace(series, cases=marked, visits=visits).drawings().items():
        if drawing is not None:
            save(drawing, output / "drawn" / name, ["svg"])
    found = write(PURPOSE, with_figures(read_material(output, PLAN), [output / "drawn"]))
    write_all(found, [output / "drawn"], tmp_path)  # `figures/` is made anew while the PDF is set from these
    files = [*tmp_path.glob("*.html"), *tmp_path.glob("tables/*.csv"), *tmp_path.glob("figures/*.svg")]
    assert len(files) > 15
    for path in files:
        words = path.read_text(encoding="utf-8")
        assert MARKER not in words, path.name
        assert not re.search(r"\b[SP]\d{4}\b", words), path.name


def test_text_of_the_plan_cannot_become_markup(outputs):
    plan = {**PLAN, "study": {**PLAN["study"], "title": "<script>alert(1)</script> *#[a] & b"}}
    for report in write(PURPOSE, read_material(outputs["tiny"], plan)).reports:
        assert "<script>" not in render_html(report)
        assert render_pdf(report)[0].startswith(b"%PDF")


@pytest.mark.parametrize("kind", ["full", "empty", "no_visits_no_log"])
def test_pdf_is_tagged_has_its_fonts_and_is_the_same_bytes_twice(written, kind):
    pages = {}
    for report in written[kind].reports:
        pdf, pages[report.name] = render_pdf(report, pages)
        assert (pdf, pages[report.name]) == render_pdf(report, pages)
        assert b"/MarkInfo" in pdf
        assert b"/StructTreeRoot" in pdf
        assert b"/FontFile" in pdf or b"/ObjStm" in pdf
        assert list(pages[report.name]) == [chapter.id for chapter in report.chapters]
        assert list(pages[report.name].values()) == sorted(pages[report.name].values())


def test_pages_are_the_same_bytes_twice_and_written_whole(written, tmp_path):
    for run in ("one", "two"):
        write_all(written["tiny"], [], tmp_path / run)
    assert sorted(path.name for path in (tmp_path / "one").glob("*.*")) == sorted(PURPOSE.pages)
    for name in PURPOSE.pages:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_a_folder_with_nothing_in_it_still_makes_pages(tmp_path):
    found = write(PURPOSE, read_material(tmp_path, PLAN))
    assert found.tables == {}
    for report in found.reports:
        assert blocks(report, "figure") == []
    write_all(found, [], tmp_path)
    for name in PURPOSE.pages:
        assert (tmp_path / name).stat().st_size > 1000


@pytest.mark.parametrize("kind", ["empty", "no_visits_no_log"])
def test_only_what_can_be_drawn_leaves_files(made, tmp_path, kind):
    """No picture says that there is nothing to show."""
    from liftseries.report.kit.drawing import save_figure

    series, drawn = made[kind], set()
    for figure in PURPOSE.figures:
        drawing = draw_figure(figure, series.read, PLAN)
        drawn |= {figure.name} if drawing is not None else set()
        if drawing is None:
            save_figure(figure, series.read, PLAN, tmp_path)
        else:
            assert "othing is drawn" not in drawing.alt, figure.name
    assert not list(tmp_path.rglob("*"))
    by_visits_or_log = {"deviations", "survival", "bone_over_time"}
    assert not drawn & by_visits_or_log
