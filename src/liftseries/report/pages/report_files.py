"""What a purpose gives, as files: pages, and a folder of tables."""

from __future__ import annotations

from pathlib import Path

from liftseries.base.outputs import remake_folder
from liftseries.report.kit.blocks import Written
from liftseries.report.pages.page import write_htmls
from liftseries.report.pages.pdf_page import write_pdfs
from liftseries.report.pages.table_files import write_tables


def write_pages(written: Written, folder: Path | str) -> None:
    """Each document as HTML and PDF."""
    write_htmls(written.reports, Path(folder))
    write_pdfs(written.reports, Path(folder))


def write_table_folder(written: Written, folder: Path | str) -> None:
    """Each table as CSV and DOCX."""
    with remake_folder(Path(folder)) as room:
        write_tables(written.tables, room)
