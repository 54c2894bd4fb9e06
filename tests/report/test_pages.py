"""Pages: one file that opens offline and can be heard as well as seen; a tagged PDF; the same bytes twice."""

import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from made_series import KINDS, PLAN

from liftseries.models.files import file_of
from liftseries.report.kit.blocks import Report
from liftseries.report.kit.figures.style import save
from liftseries.report.kit.material import Material, read_material
from liftseries.report.kit.tables.cells import TRACE
from liftseries.report.kit.writer import write
from liftseries.report.pages.page import render_html, render_pdf, write_html, write_pdf
from liftseries.report.purposes import purpose
from liftseries.report.purposes.publication.first_page import NOTICES

MARKER = "ZZ-MARKER-NAME"


def build(material: Material) -> Report:
    return write(purpose("publication"), material)


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
        if tag not in ("meta", "img", "br", "link"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)

    def all(self, tag: str) -> list[dict]:
        return [attributes for name, attributes in self.elements if name == tag]

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))


@pytest.fixture(scope="module")
def reports(made, drawings, tmp_path_factory):
    """The report of every kind of series, with its figures."""
    found = {}
    for kind in KINDS:
        output = made[kind].leave_in(tmp_path_factory.mktemp(kind))
        for name, drawing in drawings[kind].items():
            if kind in ("full", "no_visits_no_log"):
                save(drawing, output / "figures" / name, ["svg"])
        material = read_material(output, PLAN, {"liftseries": "0"}, {"s.csv": "ab" * 32})
        found[kind] = build(material)
    return found


@pytest.fixture(scope="module")
def pages(reports) -> dict[str, Page]:
    return {kind: Page(render_html(report)) for kind, report in reports.items()}


@pytest.mark.parametrize("kind", KINDS)
def test_page_is_well_formed_and_asks_for_nothing(pages, reports, kind):
    page = pages[kind]
    assert page.open == []
    source = render_html(reports[kind])
    assert not re.search(r"https?:|//[a-z]|url\(|@import", source.replace("data:image/svg+xml", ""))
    assert page.all("script") == page.all("link") == page.all("iframe") == []
    for attributes in page.all("img"):
        assert attributes["src"].startswith("data:image/svg+xml;base64,")


@pytest.mark.parametrize("kind", KINDS)
def test_page_can_be_heard(pages, kind):
    page = pages[kind]
    assert page.all("html") == [{"lang": "en"}]
    assert len(page.all("h1")) == 1
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch("h[1-6]", tag)]
    assert all(later - earlier <= 1 for earlier, later in itertools.pairwise(levels))
    for attributes in page.all("img"):
        assert len(attributes["alt"]) > 30
    assert len(page.all("caption")) == len(page.all("table"))
    for attributes in page.all("th"):
        assert attributes["scope"] in ("col", "row")
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    for attributes in page.all("a"):
        assert attributes["href"].removeprefix("#") in ids
    assert page.elements[[tag for tag, _ in page.elements].index("body") + 1][1]["class"] == "skip"


@pytest.mark.parametrize("kind", KINDS)
def test_page_says_the_notices_first(pages, kind):
    text = pages[kind].text
    for notice in NOTICES:
        assert notice in text
        assert text.index(notice) < text.index("Main findings")
    for words in (
        "not a medical device",
        "no advice for a patient in the chair",
        "Local codes and licensed clinical judgement",
    ):
        assert words in text


def test_chapters_stand_in_reading_order(reports):
    assert [chapter.title for chapter in reports["full"].chapters] == [
        "What was studied",
        "Who is in it",
        "How deep was drilled",
        "What happened to the membrane",
        "How the implants fared",
        "What bone was gained",
        "What could change the answers",
        "What this cannot tell",
        "Methods",
        "Versions, plan and inputs",
    ]


def blocks(report, kind: str) -> list:
    return [block for chapter in report.chapters for block in chapter.blocks if block.kind == kind]


def test_every_figure_and_table_stands_in_it_numbered_in_order(reports, made):
    report = reports["full"]
    figures, tables = blocks(report, "figure"), blocks(report, "table")
    assert [figure.number for figure in figures] == list(range(1, len(figures) + 1))
    assert [table.number for table in tables] == list(range(1, len(tables) + 1))
    assert {figure.name for figure in figures} == set(made["full"].drawings())
    assert set(report.tables) <= {table.display.name for table in tables}


def test_main_findings_are_four_to_six_sentences_with_their_sources(reports):
    findings = reports["full"].findings
    assert 4 <= len(findings) <= 6
    for finding in findings:
        assert finding.source
        assert re.search(r"\d", finding.text)
    assert sum("(" in finding.text for finding in findings) >= 4


def test_a_finding_says_what_results_say(reports, made):
    row = made["full"].rows("perforation.firth").query("term == 'rbh_mid_mm' and headline").iloc[0]
    place = "perforation.firth · all · rbh_mid_mm · profile_or_jackknife"
    (told,) = [f for f in reports["full"].findings if f.source == place]
    low, high = (2.718281828459045 ** row[end] for end in ("conf_low", "conf_high"))
    assert f"({low:.2f} to {high:.2f}) times as high" in told.text
    assert ("compatible with either direction" in told.text) == (low < 1 < high)


def test_what_is_missing_is_said_in_one_sentence(pages):
    text = pages["no_visits_no_log"].text
    assert "The study has no drilling log, so nothing can be said of how deep was drilled." in text
    assert "No implant was seen at a visit, so nothing can be said of how the implants fared." in text
    assert "No implant was seen at a visit, so nothing can be said of the bone gained." in text
    for words in ("A drilling log exists for", "The first rung is", "Achieved less planned", "Kaplan-Meier, in"):
        assert [words in pages[kind].text for kind in ("full", "no_visits_no_log")] == [True, False]


def test_what_has_no_answer_is_listed_in_words(reports, made):
    for kind in ("tiny", "one_level"):
        items = [item for block in blocks(reports[kind], "listing") for item in block.items]
        assert items
        for item in items:
            assert not re.search(r"_|\[|·|\b(perforation|survival|gain|depth)\.[a-z]|; see |bound that holds", item), (
                item
            )
            assert item.partition(": ")[0]


def test_limits_speak_in_the_studys_numbers(reports, made):
    (limits,) = [chapter for chapter in reports["full"].chapters if chapter.id == "limits"]
    text = " ".join(block.text for block in limits.blocks if block.kind == "paragraph")
    n_events = made["full"].rows("perforation.gee")["n_events"].iloc[0]
    assert f"{n_events} perforations for 2 coefficients" in text
    n_unknown = int((made["full"].cases["perforation"] == "unknown").sum())
    assert n_unknown > 1
    assert f"At {n_unknown} sites it is unknown whether the membrane tore" in text


def test_gain_and_its_terms_share_a_measurement(pages):
    assert "Bone gain is worked out from the residual bone height, and so are terms" in pages["full"].text
    assert "Bone gain is worked out from" not in pages["no_visits_no_log"].text


def test_limits_of_survival_stay_unsaid_where_nobody_was_followed(pages):
    assert "A failure found at a visit" in pages["full"].text
    for words in ("A failure found at a visit", "failures for"):
        assert words not in pages["no_visits_no_log"].text


def test_follow_up_is_told_where_somebody_was_seen(pages):
    """Who is lost and who was not yet due are told apart; nothing of it where there was no visit."""
    words = ("The median follow-up was", "were not yet due, which is no loss", "lost to follow-up before it")
    for told in words:
        assert told in pages["full"].text
        assert told not in pages["no_visits_no_log"].text
    assert "lost from sight" not in pages["full"].text


def test_numbers_still_at_risk_are_told_when_follow_up_is_short(made, tmp_path):
    from liftseries.report.closing.limits import limits_told

    output = made["full"].leave_in(tmp_path)
    rows = "subset,months,n_at_risk,n_failed,n_censored\nall,0,40,0,0\nall,6,31,0,9\n"
    (output / file_of("survival_at_risk")).write_text(rows, encoding="utf-8")
    told = " ".join(limits_told(read_material(output, PLAN)))
    assert "still at risk: 31 at month 6." in told


def test_methods_name_terms_and_what_was_left_out(reports):
    (methods,) = [chapter for chapter in reports["full"].chapters if chapter.id == "methods"]
    told = {block.lead: block.text for block in methods.blocks if block.kind == "paragraph"}
    assert "1 mm (guided) or 1.5 mm (freehand) short of the lowest floor" in told["Ladder"]
    assert "those of survival and hazards stay normal" in told["Clustering"]
    assert "Terms: residual bone height and approach." in told["Odds of a perforation"]
    assert re.search(r"Left out: \d+ sites? \(smoking unknown\)", told["Hazard of failure"])


def test_versions_plan_seed_and_hashes_stand_in_it(pages):
    text = pages["full"].text
    assert "Random numbers start from 7." in text
    assert "ab" * 32 in text
    assert "first_depth_margin_mm:" in text


def test_ids_of_patients_and_sites_stay_out(made, drawings, tmp_path):
    """A pseudonym may still be a name: give every id a marker and look for it in all that is written."""
    from liftseries.report.pages.table_files import write_tables

    series = made["full"]
    marked = series.cases.assign(
        site_id=MARKER + series.cases["site_id"],
        patient_id=MARKER + series.cases["patient_id"],
        operator=MARKER,
    )
    visits = series.visits.assign(site_id=MARKER + series.visits["site_id"])
    shown = replace(series, cases=marked, visits=visits).drawings()
    output = series.leave_in(tmp_path)
    for name, drawing in shown.items():
        save(drawing, output / "figures" / name, ["svg"])
    report = build(read_material(output, PLAN))
    write_html(report, tmp_path / "report.html")
    write_tables(report.tables, tmp_path / "tables")
    written = [tmp_path / "report.html", *tmp_path.glob("tables/*.csv"), *tmp_path.glob("figures/*.svg")]
    assert len(written) > 15
    for path in written:
        words = path.read_text(encoding="utf-8")
        assert MARKER not in words, path.name
        assert not re.search(r"\b[SP]\d{4}\b", words), path.name


def test_text_of_the_plan_cannot_become_markup(made, tmp_path):
    plan = {**PLAN, "study": {**PLAN["study"], "title": "<script>alert(1)</script> *#[a] & b"}}
    report = build(read_material(made["full"].leave_in(tmp_path), plan))
    assert "<script>" not in render_html(report)
    assert render_pdf(report).startswith(b"%PDF")


@pytest.mark.parametrize("kind", ["full", "empty", "no_visits_no_log"])
def test_pdf_is_tagged_dated_by_nothing_and_the_same_bytes_twice(reports, kind):
    pdf = render_pdf(reports[kind])
    assert pdf == render_pdf(reports[kind])
    assert b"/MarkInfo" in pdf
    assert b"/StructTreeRoot" in pdf
    assert b"/FontFile" in pdf or b"/ObjStm" in pdf


def test_html_is_the_same_bytes_twice_and_written_whole(reports, tmp_path):
    write_html(reports["full"], tmp_path / "report.html")
    assert (tmp_path / "report.html").read_text(encoding="utf-8") == render_html(reports["full"])
    write_pdf(reports["tiny"], tmp_path / "report.pdf")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["report.html", "report.pdf"]


def test_a_folder_with_nothing_in_it_still_makes_a_report(tmp_path):
    report = build(read_material(tmp_path, PLAN))
    page = Page(render_html(report))
    assert "Nothing could be estimated; the chapters say why." in page.text
    assert page.all("table") == []
    assert TRACE not in page.text
    assert render_pdf(report).startswith(b"%PDF")
