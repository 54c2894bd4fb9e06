"""What is declared is there: every figure and table has its function, its caption and a word on release."""

import subprocess
import sys
from collections import Counter
from inspect import signature

import pytest
from made_series import PLAN

from liftseries.base.named import function_named
from liftseries.models.files import file_of
from liftseries.models.questions import ANALYSES
from liftseries.report.depth import declarations as depth
from liftseries.report.kit.blocks import FirstPage, Paragraph
from liftseries.report.kit.declarations import (
    NOT_COARSENED,
    SINGLE_RECORDS,
    Chapter,
    KeptIn,
    Purpose,
    Released,
    plan_read_by,
)
from liftseries.report.kit.material import COLUMNS, read_material
from liftseries.report.kit.writer import write
from liftseries.report.pages.page import render_html
from liftseries.report.pages.report_files import write_report
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
    assert set(figure.reads) == set(signature(function_named(figure.draws)).parameters)
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
    assert of_function == {"material", "words", *table.options, *(["covered"] if table.takes_the_rest else [])}


@pytest.mark.parametrize("report", PURPOSES, ids=lambda report: report.name)
def test_names_and_anchors_are_unique(report):
    for found in (report.figures, report.tables):
        assert max(Counter(declared.name for declared in found).values()) == 1
    assert max(Counter(chapter.id for chapter in report.chapters).values()) == 1
    assert sum(table.takes_the_rest for table in report.tables) <= 1


def test_purposes_are_those_of_the_plan():
    assert {*names(), *LATER_PURPOSES} == set(plan_schema()["properties"]["purpose"]["items"]["enum"])
    with pytest.raises(KeyError):
        purpose("brochure")


def test_each_figure_is_drawn_in_the_job_of_its_room():
    jobs = figures_of(names())
    assert sorted(figure.name for figures in jobs.values() for figure in figures) == sorted({f.name for f in FIGURES})
    assert [figure.name for figure in jobs["gain"]] == ["bone_over_time", "gain_terms"]


def test_a_job_is_told_of_the_plan_only_what_its_figures_read():
    assert plan_read_by(figures_of()["series"], PLAN) == {"plan": {"rbh_bands_mm": [4.0, 6.0]}}
    assert plan_read_by(figures_of()["depth"], PLAN) == {"plan": {}}
    assert set(plan_read_by(figures_of()["gain"], PLAN)) == {"plan", "extra_columns"}


def test_declarations_are_read_without_the_libraries_that_compute_and_draw():
    asked = "import sys; from liftseries.report.purposes import figures_of; figures_of(); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, encoding="utf-8", check=True)
    assert not {"numpy", "pandas", "matplotlib", "yaml"} & set(done.stdout.split())


def first_page(material) -> FirstPage:
    return FirstPage(("Made up.",), (), (Paragraph("Nothing is found."),))


def one_block(writer):
    yield Paragraph("One block of another room:")
    yield from writer.table("depth_agreement")


@pytest.fixture
def dummy() -> Purpose:
    """A purpose of one whole chapter, and one of a single block."""
    agreement = next(table for table in depth.TABLES if table.name == "depth_agreement")
    deviations = Chapter(
        depth.CHAPTER.id,
        "Depths for the dummy",
        depth.CHAPTER.blocks,
        depth.FIGURES,
        tuple(table for table in depth.TABLES if table is not agreement),
    )
    single = Chapter("single", "A single block", f"{__name__}:one_block", tables=(agreement,))
    return Purpose(
        name="dummy",
        first_page=f"{__name__}:first_page",
        chapters=(deviations, single),
        methods=(),
        files=("dummy.html", "dummy_tables"),
        may_be_released=False,
    )


def test_a_purpose_of_one_chapter_is_written(dummy, made, tmp_path):
    report = write(dummy, read_material(made["full"].leave_in(tmp_path), PLAN))
    assert [chapter.title for chapter in report.chapters] == ["Depths for the dummy", "A single block"]
    assert set(report.tables) == {table.name for table in depth.TABLES}
    page = render_html(report)
    assert "Depths for the dummy" in page
    assert "What happened to the membrane" not in page
    write_report(report, dummy.files, tmp_path / "made")
    assert (tmp_path / "made" / "dummy.html").read_text(encoding="utf-8") == page
    written = {path.stem for path in (tmp_path / "made" / "dummy_tables").glob("*.csv")}
    assert written == set(report.tables)


def test_a_table_that_stays_in_the_house_is_not_made_for_a_release(made, tmp_path):
    from dataclasses import replace

    from liftseries.report.kit.material import Withheld

    whole = read_material(made["full"].leave_in(tmp_path), PLAN)
    assert "set_aside" in write(purpose("publication"), whole).tables
    leaving = replace(whole, withheld=Withheld(5, 10, 20, 100, 0, 0, False))
    assert "set_aside" not in write(purpose("publication"), leaving).tables


def test_every_table_of_a_run_has_its_columns():
    assert {name for name in COLUMNS if not COLUMNS[name]} == set()
    for name in COLUMNS:
        assert file_of(name)
