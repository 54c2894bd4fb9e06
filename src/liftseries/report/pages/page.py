"""The report as pages: one HTML file that opens offline, and a tagged PDF.

Templates lie in `reports/`. A rerun gives the same bytes: no date, no machine's fonts, nothing fetched.
"""

from __future__ import annotations

import base64
import json
import shutil
import tempfile
from dataclasses import asdict
from importlib.util import find_spec
from pathlib import Path

from liftseries.base.home import folder
from liftseries.base.outputs import write_text, written_whole
from liftseries.report.kit.blocks import Report

PDF_STANDARD = "ua-1"  # refuses a picture without alternative text


def render_html(report: Report) -> str:
    """The whole page: style and pictures inside, no script, no address of another file."""
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


def render_pdf(report: Report) -> bytes:
    """The same report, set by Typst."""
    import typst

    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        shutil.copy(folder("reports") / "report.typ", room)
        for chapter in report.chapters:
            for block in chapter.blocks:
                if block.kind == "figure":
                    shutil.copy(block.path, room / f"{block.name}.svg")
        data = json.dumps(asdict(report), default=str, ensure_ascii=False)
        (room / "report.json").write_text(data, encoding="utf-8")
        return typst.compile(
            room / "report.typ",
            root=room,
            font_paths=[fonts()],
            ignore_system_fonts=True,
            format="pdf",
            pdf_standards=PDF_STANDARD,
            timestamp=0,
        )


def fonts() -> Path:
    """DejaVu, which matplotlib ships: the pages are set in the same type as the figures."""
    # Found, not imported: matplotlib takes a second to start.
    return Path(find_spec("matplotlib").origin).parent / "mpl-data" / "fonts" / "ttf"


def write_html(report: Report, path: Path | str) -> None:
    """`report.html`."""
    write_text(path, render_html(report))


def write_pdf(report: Report, path: Path | str) -> None:
    """`report.pdf`."""
    with written_whole(path) as temporary:
        temporary.write_bytes(render_pdf(report))
