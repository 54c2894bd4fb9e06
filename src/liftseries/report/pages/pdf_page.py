"""A document as a tagged PDF, set by Typst.

The template lies in `reports/`. A rerun gives the same bytes: no date, no machine's fonts, nothing fetched.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from liftseries.base.home import folder
from liftseries.base.outputs import written_whole
from liftseries.report.kit.blocks import LabelledTable, Report
from liftseries.report.kit.tables.layout import cells_in_line, column_widths, fits, unbroken
from liftseries.report.kit.typeset import set_in
from liftseries.report.pages.page import alignments, anchors_in

TEXT_WIDTH_PT, INSET_PT = 498.0, 5.2  # of a page, and left and right of a cell
SIZES_PT = (6.8, 6.2)  # of tables; the smaller where a table of many columns needs it
Pages = Mapping[str, Mapping[str, int]]  # document -> chapter -> page


def render_pdf(report: Report, pages: Pages | None = None) -> tuple[bytes, dict[str, int]]:
    """The same document, set by Typst, and the page of each of its chapters.

    Parameters
    ----------
    report
    pages : where the chapters of the documents before it stand, for references to them
    """
    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        shutil.copy(folder("reports") / "report.typ", room)
        for chapter in report.chapters:
            for block in chapter.blocks:
                if block.kind == "figure":
                    shutil.copy(block.path, room / f"{block.name}.svg")
        data = json.dumps(_as_data(report, pages or {}), default=str, ensure_ascii=False)
        (room / "report.json").write_text(data, encoding="utf-8")
        pdf, setter = set_in(room, "report.typ")
        found = json.loads(setter.query("<place>", field="value"))
    return pdf, {place["chapter"]: place["page"] for place in found}


def _as_data(report: Report, pages: Pages) -> dict[str, Any]:
    """What the template of the PDF reads: the document, how its tables are set, pages of those before it."""
    anchors = {label: anchor for label, (_, anchor) in anchors_in([report]).items()}
    data = asdict(report) | {"pages": pages, "anchors": anchors}
    for chapter, written in zip(data["chapters"], report.chapters, strict=True):
        for block, one in zip(chapter["blocks"], written.blocks, strict=True):
            if one.kind == "table":
                block |= _set(one)
    return data


def _set(table: LabelledTable) -> dict[str, Any]:
    """The size of a table's type, its cells, and how its columns stand."""
    display = table.display
    sizes = (size for size in SIZES_PT if fits(display, TEXT_WIDTH_PT, size, INSET_PT))
    size = next(sizes, SIZES_PT[len(display.columns) > 4])
    return {
        "size": size,
        "inset": INSET_PT,
        "widths": column_widths(display, TEXT_WIDTH_PT, size, INSET_PT),
        "alignments": alignments(display),
        "headings": [unbroken(heading) for heading in display.columns],
        "cells": cells_in_line(display),
    }


def write_pdfs(reports: Sequence[Report], folder: Path) -> None:
    """`report.pdf`, and what refers to its pages."""
    pages: dict[str, dict[str, int]] = {}
    for report in reports:
        pdf, pages[report.name] = render_pdf(report, pages)
        with written_whole(folder / f"{report.name}.pdf") as temporary:
            temporary.write_bytes(pdf)
