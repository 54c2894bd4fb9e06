"""What a purpose gives, as files: pages, and folders of figures and tables."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from liftseries.base.outputs import remake_folder
from liftseries.report.kit.blocks import Written
from liftseries.report.kit.declarations import FIGURES, NARROW, TABLES
from liftseries.report.pages.page import write_htmls
from liftseries.report.pages.pdf_page import write_pdfs
from liftseries.report.pages.table_files import write_tables


def write_figures(written: Written, drawn: Iterable[Path], folder: Path | str) -> None:
    """The figures that stand in a document, from the folders in which they were drawn."""
    blocks = [block for report in written.reports for chapter in report.chapters for block in chapter.blocks]
    shown = {block.name for block in blocks if block.kind == "figure"}
    with remake_folder(Path(folder)) as room:
        (room / NARROW).mkdir()
        for source in drawn:
            for path in sorted([*source.glob("*.*"), *source.glob(f"{NARROW}/*.*")]):
                if path.stem in shown:
                    shutil.copyfile(path, room / path.relative_to(source))


def write_table_folder(written: Written, folder: Path | str) -> None:
    """Each table as CSV and DOCX."""
    with remake_folder(Path(folder)) as room:
        write_tables(written.tables, room)


def write_all(written: Written, drawn: Iterable[Path], folder: Path | str) -> None:
    """Each document as HTML and PDF, `figures/` and `tables/`."""
    with ThreadPoolExecutor(1) as beside:  # setting pages holds up no other work
        pdfs = beside.submit(write_pdfs, written.reports, Path(folder))
        write_htmls(written.reports, Path(folder))
        write_figures(written, drawn, Path(folder) / FIGURES)
        write_table_folder(written, Path(folder) / TABLES)
        pdfs.result()
