"""A report as the files that its purpose leaves."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from liftseries.base.outputs import remake_folder
from liftseries.report.kit.blocks import Report
from liftseries.report.pages.page import write_html, write_pdf
from liftseries.report.pages.table_files import write_tables

PAGES = {".html": write_html, ".pdf": write_pdf}


def write_report(report: Report, files: Iterable[str], folder: Path | str) -> None:
    """Writes each file into the folder: a page by its ending, the tables where a name has none (`tables`)."""
    for path in (Path(folder) / name for name in files):
        if path.suffix:
            PAGES[path.suffix](report, path)
            continue
        with remake_folder(path) as room:
            write_tables(report.tables, room)
