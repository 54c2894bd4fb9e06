"""What an audit leaves beside its documents: the first page alone, the charts' numbers, the files for its sitting."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from liftseries.base.outputs import write_csv, written_whole
from liftseries.report.audit.extra_files import write_further_files
from liftseries.report.kit.blocks import Written
from liftseries.report.kit.material import Material
from liftseries.report.pages.pdf_page import render_pdf

SUMMARY, CUSUM = "summary.pdf", "cusum.csv"


def write_further(material: Material, written: Written, folder: Path) -> None:
    """`summary.pdf`, the first page by itself, `cusum.csv`, and the files of `extra_files`."""
    write_summary(written, Path(folder))
    charts = material.table("audit_cusum_charts")
    if len(charts):
        write_csv(Path(folder) / CUSUM, charts)
    write_further_files(material, written, folder)


def write_summary(written: Written, folder: Path) -> None:
    """The first chapter of the report, as a page that stands alone."""
    report = written.reports[0]
    pdf, _ = render_pdf(replace(report, chapters=report.chapters[:1]))
    with written_whole(folder / SUMMARY) as temporary:
        temporary.write_bytes(pdf)
