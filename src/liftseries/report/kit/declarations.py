"""How figures, tables, chapters and purposes are declared: what makes them, what they read, whether they are released.

Plain data: the workflow reads all declarations each time it starts, so functions are named as text
(`package.module:function`) and nothing is imported but the standard library. That is why declarations lie in a module
beside the functions and not at them. The jobs that draw, the report, what a release may show and the tests come from
them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from liftseries.models.files import file_of

FORMATS = ("svg", "pdf", "png")
# Why a figure or table stays in the house.
SINGLE_RECORDS = "each mark or row is a site, a measurement or a failure"
NOT_COARSENED = "its steps or bars have not been made to rest on enough patients"


@dataclass(frozen=True)
class Released:
    """It may leave the house; `caption` is that of the released one, where it shows less than the one in the house."""

    caption: str = ""


@dataclass(frozen=True)
class KeptIn:
    """It stays in the house.

    Attributes
    ----------
    why : SINGLE_RECORDS or NOT_COARSENED
    called : in the sentence of the released report that says so
    """

    why: str
    called: str


@dataclass(frozen=True)
class Figure:
    """A figure.

    Attributes
    ----------
    name : of its files
    draws : the function, which gives a `Drawing`
    reads : argument -> source
        A table of the run by its name (`cases`, `flow`, `survival_curves`), `results:survival.km` (the rows of that
        analysis), `plan:rbh_bands_mm` (a key of the plan), or `words` (the names of columns).
    caption : what stands below it: what it shows, and how it is to be read
    released : whether it may leave the house, and with which caption
    """

    name: str
    draws: str
    reads: Mapping[str, str]
    caption: str
    released: Released | KeptIn

    @property
    def room(self) -> str:
        """The outcome that it is about, whose figures share a job: `perforation`."""
        return room_of(self.draws)

    @property
    def files(self) -> tuple[str, ...]:
        """Its files within the output folder."""
        return tuple(f"figures/{self.name}.{form}" for form in FORMATS)

    def caption_of(self, released: bool) -> str:
        """What stands below it in the report that stays in the house, or in the one that leaves."""
        other = self.released.caption if released and isinstance(self.released, Released) else ""
        return other or self.caption


@dataclass(frozen=True)
class Table:
    """A table as it is printed.

    Attributes
    ----------
    name : of its files
    makes : the function, which takes the material and the words and gives its `Content`, or None where it has no rows
    caption : one sentence
    released : whether it may leave the house
    options : further arguments of the function
    takes_the_rest : it holds the rows of results.csv that no other table shows; its function is told these as `covered`
    """

    name: str
    makes: str
    caption: str
    released: Released | KeptIn
    options: Mapping[str, Any] = field(default_factory=dict)
    takes_the_rest: bool = False


@dataclass(frozen=True)
class Chapter:
    """A heading of a report and what may stand under it.

    Attributes
    ----------
    id : its anchor on the page
    title : its heading
    blocks : the function, which takes the `Writer` and gives the blocks in order
    figures, tables : that it shows
    released_title : of the report that leaves the house, where it is another one
    only_released : it stands only in the report that leaves the house
    """

    id: str
    title: str
    blocks: str
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    released_title: str = ""
    only_released: bool = False


@dataclass(frozen=True)
class Purpose:
    """A report: its chapters in order.

    Attributes
    ----------
    name : in study.yaml, `purpose`
    first_page : the function, which takes the `Material` and gives a `FirstPage`
    chapters : in reading order
    methods : the functions that give the paragraphs of the chapter of methods, in order
    files : what it leaves in the output folder: pages, and the folder of its tables
    may_be_released : whether it may leave the house
    """

    name: str
    first_page: str
    chapters: tuple[Chapter, ...]
    methods: tuple[str, ...]
    files: tuple[str, ...]
    may_be_released: bool

    @property
    def figures(self) -> tuple[Figure, ...]:
        """All its figures, in reading order."""
        return tuple(figure for chapter in self.chapters for figure in chapter.figures)

    @property
    def tables(self) -> tuple[Table, ...]:
        """All its tables, in reading order."""
        return tuple(table for chapter in self.chapters for table in chapter.tables)


def room_of(function: str) -> str:
    """The room of the report that a function lies in."""
    return function.removeprefix("liftseries.report.").partition(".")[0]


def functions_drawing(figures: Iterable[Figure]) -> list[str]:
    """The functions that draw and save these figures."""
    shared = ("liftseries.report.kit.drawing:draw_figure", "liftseries.report.kit.figures.style:save")
    return [*shared, *(figure.draws for figure in figures)]


def files_drawn_from(figures: Iterable[Figure]) -> dict[str, str]:
    """Name for Snakemake -> file, of every table that these figures read."""
    sources = {source: None for figure in figures for source in figure.reads.values()}
    tables = (source for source in sources if source != "words" and not source.startswith("plan:"))
    return {re.sub(r"\W", "_", source): file_of(source) for source in tables}


def plan_read_by(figures: Iterable[Figure], plan: Mapping[str, Any]) -> dict[str, Any]:
    """What of study.yaml these figures read, in its own form: a change elsewhere draws none of them again."""
    sources = {source for figure in figures for source in figure.reads.values()}
    keys = sorted(source.removeprefix("plan:") for source in sources if source.startswith("plan:"))
    columns = {"extra_columns": plan["extra_columns"]} if "words" in sources else {}
    return {"plan": {key: plan["plan"][key] for key in keys}} | columns
