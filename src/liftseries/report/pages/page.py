"""A document as one HTML file that opens offline: style and pictures inside, no script, nothing fetched.

The template lies in `reports/`. A rerun gives the same bytes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from liftseries.base.home import folder
from liftseries.base.outputs import write_text
from liftseries.report.kit.blocks import Report
from liftseries.report.kit.tables.cells import Display
from liftseries.report.kit.tables.layout import alignment, cells_in_line, unbroken

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

LABEL = re.compile(r"\b(?:Figure|Table) S?\d+\b")
# Of a picture's text: coordinates beyond a hundredth of a point, the courses of lines, what needs no space beside it.
FINER, COURSE = re.compile(r'(?<=\.\d\d)\d+(?=[\s"])'), re.compile(r'(?<= d=")[^"]*')
COMMAND = re.compile(" ?([A-Za-z]) ?")
ESCAPED = "% \"#&'<>"  # the sign of an escape before all others
Anchors = Mapping[str, tuple[str, str]]  # `Table S3` -> document and anchor within it


def anchors_in(reports: Sequence[Report]) -> dict[str, tuple[str, str]]:
    """Where each labelled figure and table of these documents stands."""
    return {
        block.label: (report.name, f"{block.kind}-{block.name if block.kind == 'figure' else block.display.name}")
        for report in reports
        for chapter in report.chapters
        for block in chapter.blocks
        if block.kind in ("figure", "table")
    }


def render_html(report: Report, anchors: Anchors | None = None) -> str:
    """The whole page: style and pictures inside, no script, no address of another file but its sister document.

    Parameters
    ----------
    report
    anchors : of all documents, for links from `Table S3` to it; of this one alone where none are given
    """
    addresses = {
        label: f"{'' if document == report.name else document + '.html'}#{anchor}"
        for label, (document, anchor) in (anchors_in([report]) if anchors is None else anchors).items()
    }
    style = (folder("reports") / "report.css").read_text(encoding="utf-8")
    return _templates().get_template("report.html.j2").render(report=report, style=style, addresses=addresses)


@cache
def _templates() -> Environment:
    """The templates and their filters; one for all documents, so that a template is compiled once."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context

    templates = Environment(
        loader=FileSystemLoader(folder("reports")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.filters |= {
        "data_uri": data_uri,
        "cells_in_line": cells_in_line,
        "alignments": alignments,
        "unbroken": unbroken,
        "linked": pass_context(lambda context, text: linked(text, context["addresses"])),
    }
    return templates


def linked(text: str, addresses: Mapping[str, str]) -> Markup:
    """The text, where `Table S3` leads to it."""
    from markupsafe import Markup, escape

    def link(found: re.Match) -> str:
        address = addresses.get(found[0])
        return f'<a href="{address}">{found[0]}</a>' if address else found[0]

    return Markup(LABEL.sub(link, str(escape(text))))


def alignments(table: Display) -> list[str]:
    """How each column is aligned."""
    return [alignment(table, column) for column in range(len(table.columns))]


def data_uri(svg: Path) -> str:
    """A picture as text that stands inside the page, coordinates to a hundredth of a point: less than base64.

    No space is left, at which an address in `srcset` would end.
    """
    head, end, drawing = Path(svg).read_text(encoding="utf-8").partition("</metadata>")
    drawing = COURSE.sub(_course, FINER.sub("", drawing))
    text = " ".join(f"{head}{end}{drawing}".split()).replace("> <", "><")
    for character in ESCAPED:  # six times as fast as `str.translate`
        text = text.replace(character, f"%{ord(character):02X}")
    return f"data:image/svg+xml,{text}"


def _course(found: re.Match) -> str:
    """`M 0 1 L 2 3` as `M0,1L2,3`."""
    return COMMAND.sub(r"\1", " ".join(found[0].split())).replace(" ", ",")


def write_htmls(reports: Sequence[Report], folder: Path) -> None:
    """`report.html`, `supplement.html`."""
    anchors = anchors_in(reports)
    for report in reports:
        write_text(folder / f"{report.name}.html", render_html(report, anchors))
