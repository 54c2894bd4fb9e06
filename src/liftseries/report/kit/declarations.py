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
FIGURES, TABLES = "figures", "tables"
NARROW = "narrow"  # below the folder of figures: their layouts in one column, for a phone
PAGE_FORMS = ("html", "pdf")
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
    caption : what stands below it: what it shows, n, events, method and interval; two lines at most
    released : whether it may leave the house, and with which caption
    has_narrow : it is wider than one column, and its function takes `narrow` for a layout of one column (a phone)
    """

    name: str
    draws: str
    reads: Mapping[str, str]
    caption: str
    released: Released | KeptIn
    has_narrow: bool = False

    @property
    def room(self) -> str:
        """The outcome that it is about, whose figures share a job: `perforation`."""
        return room_of(self.draws)

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
    """

    name: str
    makes: str
    caption: str
    released: Released | KeptIn
    options: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Chapter:
    """A heading of a document and what may stand under it.

    Attributes
    ----------
    id : its anchor on the page
    title : its heading
    blocks : the functions, each of which takes the `Writer` and gives blocks in order
    figures, tables : that it shows
    released_title : of the report that leaves the house, where it is another one
    only_released : it stands only in the report that leaves the house
    numbered : whether its heading has a number
    """

    id: str
    title: str
    blocks: tuple[str, ...]
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    released_title: str = ""
    only_released: bool = False
    numbered: bool = True


@dataclass(frozen=True)
class Document:
    """A page in HTML and PDF: the report, or its supplement.

    Attributes
    ----------
    name : of its files
    title : what stands above the study's title: `Supplement`
    prefix : before the numbers of its chapters, figures and tables: `S`
    chapters : in reading order
    """

    name: str
    title: str
    prefix: str
    chapters: tuple[Chapter, ...]

    @property
    def files(self) -> tuple[str, ...]:
        """Its files."""
        return tuple(f"{self.name}.{form}" for form in PAGE_FORMS)


@dataclass(frozen=True)
class Purpose:
    """What one purpose of study.yaml asks for: documents in order, figures and tables.

    Attributes
    ----------
    name : in study.yaml, `purpose`
    notices : what must be known before any number is read
    released_notice : one more, of the report that leaves the house
    documents : the report, and what stands behind it
    further_tables : that stand in no document, as files alone
    may_be_released : whether it may leave the house
    folder : below the output folder, in which its files lie; empty for the output folder itself
    further_files : a function that takes material, what was written and a folder, and writes what else it leaves there
    shows_question : whether the study's question stands below its title
    """

    name: str
    notices: tuple[str, ...]
    documents: tuple[Document, ...]
    further_tables: tuple[Table, ...]
    may_be_released: bool
    released_notice: str = ""
    folder: str = ""
    further_files: str = ""
    shows_question: bool = True

    @property
    def chapters(self) -> tuple[Chapter, ...]:
        """The chapters of its documents."""
        return tuple(chapter for document in self.documents for chapter in document.chapters)

    @property
    def figures(self) -> tuple[Figure, ...]:
        """All its figures, in reading order."""
        return tuple(figure for chapter in self.chapters for figure in chapter.figures)

    @property
    def tables(self) -> tuple[Table, ...]:
        """All its tables, in reading order."""
        return (*(table for chapter in self.chapters for table in chapter.tables), *self.further_tables)

    @property
    def pages(self) -> tuple[str, ...]:
        """Its pages within its folder."""
        return tuple(file for document in self.documents for file in document.files)


def room_of(function: str) -> str:
    """The room of the report that a function lies in."""
    return function.removeprefix("liftseries.report.").partition(".")[0]


def functions_drawing(figures: Iterable[Figure]) -> list[str]:
    """The functions that draw and save these figures."""
    return ["liftseries.report.kit.drawing:save_figure", *(figure.draws for figure in figures)]


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
