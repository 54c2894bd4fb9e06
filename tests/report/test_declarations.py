"""What is declared is there: every figure and table has its function, its caption and a word on release."""

import subprocess
import sys
from collections import Counter
from dataclasses import replace
from inspect import signature

import pytest
from made_series import PLAN

from liftseries.base.named import function_named
from liftseries.models.files import file_of
from liftseries.models.questions import ANALYSES
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.declarations import (
    NOT_COARSENED,
    SINGLE_RECORDS,
    Chapter,
    Document,
    KeptIn,
    Purpose,
    Released,
    plan_read_by,
)
from liftseries.report.kit.material import COLUMNS, Withheld, read_material
from liftseries.report.kit.tables.making import MadeTables
from liftseries.report.kit.writer import write
from liftseries.report.pages.page import render_html
from liftseries.report.pages.report_files import write_all
from liftseries.report.purposes import figures_of, names, purpose
from liftseries.study.plan_content import LATER_PURPOSES
from liftseries.study.plan_shape import plan_schema

PURPOSES = [purpose(name) for name in names()]
FIGURES = [figure for report in PURPOSES for figure in report.figures]
TABLES = [table for report in PURPOSES for table in report.tables]
NAMED = {"argvalues": [*FIGURES, *TABLES], "ids": [made.name for made in (*FIGURES, *TABLES)]}


@pytest.mark.parametrize("declared", **NAMED)
def test_it_has_a_caption_and_a_word_on_release(declared):
    assert declared.caption.endswith(".")
    if isinstance(declared.released, KeptIn):
        assert declared.released.why in (SINGLE_RECORDS, NOT_COARSENED)
        assert declared.released.called
    else:
        assert isinstance(declared.released, Released)


@pytest.mark.parametrize("figure", FIGURES, ids=lambda figure: figure.name)
def test_a_figure_reads_what_its_function_takes_and_a_run_leaves(figure):
    layout = {"narrow"} if figure.has_narrow else set()
    assert set(figure.reads) | layout == set(signature(function_named(figure.draws)).parameters)
    for source in figure.reads.values():
        if source.startswith("plan:"):
            assert source.removeprefix("plan:") in plan_schema()["properties"]["plan"]["properties"]
        elif source.startswith("results:"):
            assert source.removeprefix("results:") in ANALYSES
        else:
            assert source == "words" or file_of(source)


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_a_table_has_its_function(table):
    of_function = set(signature(function_named(table.makes)).parameters)
    assert of_function == {"material", "words", *table.options}


@pytest.mark.parametrize("report", PURPOSES, ids=lambda report: report.name)
def test_names_and_anchors_are_unique(report):
    for found in (report.figures, report.tables):
        assert max(Counter(declared.name for declared in found).values()) == 1
    assert max(Counter(chapter.id for chapter in report.chapters).values()) == 1
    assert max(Counter(document.name for document in report.documents).values()) == 1


@pytest.mark.parametrize("report", PURPOSES, ids=lambda report: report.name)
def test_every_block_of_a_chapter_is_a_function(report):
    for chapter in report.chapters:
        assert chapter.blocks
        for block in chapter.blocks:
            assert callable(function_named(block)), block


def test_purposes_are_those_of_the_plan():
    assert {*names(), *LATER_PURPOSES} == set(plan_schema()["properties"]["purpose"]["items"]["enum"])
    with pytest.raises(KeyError):
        purpose("brochure")


def test_each_figure_is_drawn_in_the_job_of_its_room():
    jobs = figures_of(names())
    assert sorted(figure.name for figures in jobs.values() for figure in figures) == sorted({f.name for f in FIGURES})
    assert all(figure.room == room for room, figures in jobs.items() for figure in figures)


def test_a_job_is_told_of_the_plan_only_what_its_figures_read():
    for figures in figures_of().values():
        sources = {source for figure in figures for source in figure.reads.values()}
        told = plan_read_by(figures, PLAN)
        assert {f"plan:{key}" for key in told["plan"]} == {source for source in sources if source.startswith("plan:")}
        assert ("extra_columns" in told) == ("words" in sources)


def test_declarations_are_read_without_the_libraries_that_compute_and_draw():
    asked = "import sys; from liftseries.report.purposes import figures_of; figures_of(); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, encoding="utf-8", check=True)
    assert not {"numpy", "pandas", "matplotlib", "yaml"} & set(done.stdout.split())


def one_block(writer):
    yield Paragraph("One block of another room:")
    yield from writer.table("depth_agreement")


def whole_chapter(writer):
    yield Paragraph("A chapter.", lead="Lead")
    yield from writer.figure(FIGURES[0].name)


def nothing(writer):
    yield from ()


@pytest.fixture
def dummy() -> Purpose:
    """A purpose of one document: a whole chapter, one that has nothing to say, and one of a single block."""
    agreement = next(table for table in TABLES if table.name == "depth_agreement")
    chapters = (
        Chapter("whole", "A whole chapter", (f"{__name__}:whole_chapter",), figures=(FIGURES[0],)),
        Chapter("silent", "Nothing to say", (f"{__name__}:nothing",)),
        Chapter("single", "A single block", (f"{__name__}:one_block",), tables=(agreement,)),
    )
    return Purpose(
        name="dummy",
        notices=("Made up.",),
        documents=(Document("dummy", "", "D", chapters),),
        further_tables=(),
        may_be_released=False,
        folder="dummy_files",
    )


def test_a_purpose_of_few_chapters_is_written(dummy, outputs, tmp_path):
    found = write(dummy, read_material(outputs["full"], PLAN))
    (report,) = found.reports
    assert [(chapter.number, chapter.title) for chapter in report.chapters] == [
        ("D1", "A whole chapter"),
        ("D2", "A single block"),
    ]
    assert set(found.tables) == {"depth_agreement"}
    assert found.tables["depth_agreement"].label == "Table D1"
    page = render_html(report)
    assert "A single block" in page
    assert "Nothing to say" not in page
    made = tmp_path / dummy.folder
    write_all(found, [outputs["full"] / "figures"], made)
    assert (made / "dummy.html").read_text(encoding="utf-8") == page
    assert {path.stem for path in (made / "tables").glob("*.csv")} == set(found.tables)
    assert {*dummy.pages, "figures", "tables"} == {path.name for path in made.iterdir()}


def test_a_table_that_stays_in_the_house_is_not_made_for_a_release(outputs):
    whole = read_material(outputs["full"], PLAN)
    leaving = replace(whole, withheld=Withheld(5, 10, 20, 100, 0, 0, False))
    kept = [table for table in TABLES if isinstance(table.released, KeptIn)]
    assert MadeTables(kept, whole)
    assert MadeTables(kept, leaving) == {}


def test_every_table_of_a_run_has_its_columns():
    assert {name for name in COLUMNS if not COLUMNS[name]} == set()
    for name in COLUMNS:
        assert file_of(name)
