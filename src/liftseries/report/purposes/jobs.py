"""The workflow's jobs of a report: its figures, drawn a room at a time, and its pages and tables."""

from __future__ import annotations

from liftseries.base.tables import Tables
from liftseries.models.files import where
from liftseries.report.kit.drawing import draw_figure
from liftseries.report.kit.figures.style import save
from liftseries.report.kit.material import read_material
from liftseries.report.kit.writer import write
from liftseries.report.pages.report_files import write_report
from liftseries.report.purposes import figures_of, purpose
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import read_plan


def draw_figures(job) -> None:
    """The figures of one room of the reports that the plan asks for, to figures/.

    Its params: `room`, `purposes`, and `plan`, what of study.yaml the figures read.
    """
    tables = Tables(where)
    for figure in figures_of(job.params.purposes)[job.params.room]:
        save(draw_figure(figure, tables, job.params.plan), f"figures/{figure.name}")


def write_files(job) -> None:
    """Pages, or folders of tables, of each report that the plan asks for, from what the run left in the working folder.

    Its params: `study`, `versions`, and `files`, which of the reports' files this job writes.
    """
    plan = read_plan(job.params.study)
    material = read_material(".", plan.as_written, job.params.versions, input_hashes(plan))
    for report in map(purpose, plan.purpose):
        if files := [path for path in report.files if path in job.params.files]:
            write_report(write(report, material), files, ".")
