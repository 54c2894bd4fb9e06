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
class Picture:
    """A figure: `path` of its SVG, the alternative text and width read from it, `number` in reading order."""

    name: str
    path: Path
    alt: str
    caption: str
    number: int
    width_mm: float
    kind: str = "figure"


@dataclass(frozen=True)
class NumberedTable:
    """A table with its number in reading order."""

    display: Display
    number: int
    kind: str = "table"


@dataclass(frozen=True)
class Verbatim:
    """Text to be shown letter for letter."""

    text: str
    kind: str = "verbatim"


Block = Paragraph | Listing | Picture | NumberedTable | Verbatim


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it: a chapter as it is written; `id` is its anchor."""

    id: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class FirstPage:
    """What stands before the chapters.

    Attributes
    ----------
    notices : what must be known before any number is read
    studied : what was studied: label and number
    findings : four to six sentences with intervals
    """

    notices: tuple[str, ...]
    studied: tuple[tuple[str, str], ...]
    findings: tuple[Paragraph, ...]


@dataclass(frozen=True)
class Report:
    """Everything the pages show.

    Attributes
    ----------
    title, question, study_id : of the plan
    notices, studied, findings : of its first page
    chapters : in reading order
    tables : every table, by name, for `table_files.write_tables`
    """

    title: str
    question: str
    study_id: str
    notices: tuple[str, ...]
    studied: tuple[tuple[str, str], ...]
    findings: tuple[Paragraph, ...]
    chapters: tuple[Section, ...]
    tables: Mapping[str, Display]
