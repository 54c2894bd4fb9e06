"""A document as pages: one HTML file that opens offline, and a tagged PDF.

Templates lie in `reports/`. A rerun gives the same bytes: no date, no machine's fonts, nothing fetched.
"""

from __future__ import annotations

import base64
import json
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from liftseries.base.home import folder
from liftseries.base.outputs import write_text, written_whole
from liftseries.report.kit.blocks import Report

PDF_STANDARD = "ua-1"  # refuses a picture without alternative text
Pages = Mapping[str, Mapping[str, int]]  # document -> chapter -> page of the PDF


def render_html(report: Report) -> str:
    """The whole page: style and pictures inside, no script, no address of another file but its sister document."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    templates = Environment(
        loader=FileSystemLoader(folder("reports")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.filters["data_uri"] = data_uri
    style = (folder("reports") / "report.css").read_text(encoding="utf-8")
    return templates.get_template("report.html.j2").render(report=report, style=style)


def data_uri(svg: Path) -> str:
    """A picture as text that stands inside the page."""
    return "data:image/svg+xml;base64," + base64.b64encode(Path(svg).read_bytes()).decode("ascii")


def render_pdf(report: Report, pages: Pages | None = None) -> tuple[bytes, dict[str, int]]:
    """The same document, set by Typst, and the page of each of its chapters.

    Parameters
    ----------
    report
    pages : where the chapters of the documents before it stand, for references to them
    """
    import typst

    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        shutil.copy(folder("reports") / "report.typ", room)
        for chapter in report.chapters:
            for block in chapter.blocks:
                if block.kind == "figure":
                    shutil.copy(block.path, room / f"{block.name}.svg")
        data = json.dumps(_as_data(report, pages or {}), default=str, ensure_ascii=False)
        (room / "report.json").write_text(data, encoding="utf-8")
        set_with: dict[str, Any] = {"root": room, "font_paths": [fonts()], "ignore_system_fonts": True}
        pdf = typst.compile(room / "report.typ", format="pdf", pdf_standards=PDF_STANDARD, timestamp=0, **set_with)
        found = json.loads(typst.query(room / "report.typ", "<place>", field="value", **set_with))
    return pdf, {place["chapter"]: place["page"] for place in found}


def _as_data(report: Report, pages: Pages) -> dict[str, Any]:
    """What the template of the PDF reads: the document, which columns hold numbers, pages of those before it."""
    data = asdict(report) | {"pages": pages}
    for chapter, written in zip(data["chapters"], report.chapters, strict=True):
        for block, one in zip(chapter["blocks"], written.blocks, strict=True):
            if one.kind == "table":
                block["display"]["numeric"] = [one.display.is_numeric(k) for k in range(len(one.display.columns))]
    return data


def fonts() -> Path:
    """DejaVu, which matplotlib ships: the pages are set in the same type as the figures."""
    # Found, not imported: matplotlib takes a second to start.
    return Path(find_spec("matplotlib").origin).parent / "mpl-data" / "fonts" / "ttf"


def write_html(report: Report, path: Path | str) -> None:
    """`report.html`."""
    write_text(path, render_html(report))


def write_pdfs(reports: Sequence[Report], folder: Path) -> None:
    """`report.pdf`, and what refers to its pages."""
    pages: dict[str, dict[str, int]] = {}
    for report in reports:
        pdf, pages[report.name] = render_pdf(report, pages)
        with written_whole(folder / f"{report.name}.pdf") as temporary:
            temporary.write_bytes(pdf)
