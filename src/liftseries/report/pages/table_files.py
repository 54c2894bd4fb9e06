"""A table as a file: CSV for a spreadsheet, DOCX for a manuscript; a rerun gives the same bytes."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path

from liftseries.base.outputs import write_text, written_whole
from liftseries.report.kit.tables.cells import TRACE, Display
from liftseries.report.kit.tables.cut import cut
from liftseries.report.pages.docx_table import as_docx


def write_tables(tables: Mapping[str, Display], folder: Path | str) -> None:
    """Each table as `folder/name.csv`, and its first rows as `folder/name.docx`; a rerun gives the same bytes."""
    for table in tables.values():
        write_text(Path(folder) / f"{table.name}.csv", as_csv(table))
        with written_whole(Path(folder) / f"{table.name}.docx") as temporary:
            temporary.write_bytes(as_docx(cut(table, f"{table.name}.csv")))


def as_csv(table: Display) -> str:
    """Headings and rows as they are printed; last, which rows of results.csv stand behind each."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    keys = [(key,) for key in table.keys] or [()] * len(table.rows)
    writer.writerow((*table.columns, TRACE) if table.keys else table.columns)
    for row, key in zip(table.rows, keys, strict=True):
        writer.writerow((*(cell.strip() for cell in row), *key))
    return text.getvalue()
