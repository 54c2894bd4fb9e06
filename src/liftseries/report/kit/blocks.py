"""What a report is made of: paragraphs, listings, figures, tables, chapters; `page` decides how they look."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from liftseries.report.kit.tables.cells import Display


@dataclass(frozen=True)
class Paragraph:
    """Plain text; `source` names the row of results.csv that it comes from, `lead` opens it in bold."""

    text: str
    source: str = ""
    lead: str = ""
    kind: str = "paragraph"


@dataclass(frozen=True)
class Listing:
    """A sentence and what it lists."""

    text: str
    items: tuple[str, ...]
    kind: str = "listing"


@dataclass(frozen=True)
class Answer:
    """An answer of the first page: `text` with n and interval, `sure` how sure it is, in half a line."""

    lead: str
    text: str
    sure: str = ""
    source: str = ""


@dataclass(frozen=True)
class Answers:
    """The answers of the first page, in order."""

    items: tuple[Answer, ...]
    kind: str = "answers"


@dataclass(frozen=True)
class Picture:
    """A figure.

    Attributes
    ----------
    name : of its files
    path, narrow : its SVG, and that of its layout in one column, where it has one
    alt : the alternative text, read from it
    caption : what stands below it
    label : `Figure 2`
    width_mm : that it was drawn for
    rows : the rows of results.csv behind it, for a reader of the screen; None where it shows none
    """

    name: str
    path: Path
    alt: str
    caption: str
    label: str
    width_mm: float
    narrow: Path | None = None
    rows: Display | None = None
    kind: str = "figure"


@dataclass(frozen=True)
class LabelledTable:
    """A table with its label in reading order: `Table 3`."""

    display: Display
    label: str
    kind: str = "table"


@dataclass(frozen=True)
class Place:
    """Where something stands: a chapter of a document of the same run, which the page turns into a link and a page."""

    document: str
    chapter: str
    text: str


@dataclass(frozen=True)
class Places:
    """A list of things and where each stands: a checklist."""

    headings: tuple[str, str]
    items: tuple[tuple[str, tuple[Place, ...]], ...]
    kind: str = "places"


@dataclass(frozen=True)
class Verbatim:
    """Text to be shown letter for letter."""

    text: str
    kind: str = "verbatim"


Block = Paragraph | Listing | Answers | Picture | LabelledTable | Places | Verbatim


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it: a chapter as it is written; `id` is its anchor, `number` empty or `S3`."""

    id: str
    title: str
    number: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Report:
    """A document as its pages show it.

    Attributes
    ----------
    name : of its files
    called : `Supplement`; empty for the report itself
    title, question, study_id : of the plan
    notices : what must be known before any number is read
    chapters : in reading order
    beside : the other documents of the purpose: name -> what it is called
    """

    name: str
    called: str
    title: str
    question: str
    study_id: str
    notices: tuple[str, ...]
    chapters: tuple[Section, ...]
    beside: Mapping[str, str]


@dataclass(frozen=True)
class Written:
    """What a purpose gives.

    Attributes
    ----------
    reports : its documents
    tables : those that stand in a document, with their labels, and those that are files alone, by name
    """

    reports: tuple[Report, ...]
    tables: Mapping[str, Display]
