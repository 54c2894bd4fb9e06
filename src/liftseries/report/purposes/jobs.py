"""The workflow's jobs of a report: its figures, drawn a room at a time, and its pages and tables."""

from __future__ import annotations

from pathlib import Path

from liftseries.base.named import function_named
from liftseries.base.outputs import remake_folder
from liftseries.base.tables import Tables
from liftseries.models.files import where
from liftseries.report.kit.material import read_material, with_figures
from liftseries.report.kit.writer import write
from liftseries.report.pages.report_files import write_all
from liftseries.report.purposes import drawn_in, figures_of, purpose
from liftseries.study.input_hashes import check_plan
from liftseries.study.plan import read_plan


def draw_figures(job) -> None:
    """The figures of one room of the reports that the plan asks for, as far as there is something to draw.

    Its params: `room`, `purposes`, and `plan`, what of study.yaml the figures read.
    """
    from liftseries.report.kit.drawing import save_figure  # matplotlib, which no page needs

    tables, room = Tables(where), job.params.room
    with remake_folder(Path(drawn_in(room))) as folder:
        for figure in figures_of(job.params.purposes)[room]:
            save_figure(figure, tables, job.params.plan, folder)


def write_report(job) -> None:
    """The report for a purpose, from what the run left in the working folder: figures, tables, pages.

    Its params: `purpose`, `study`, `plan`, `versions`, and `begun`, the hashes of the inputs.
    """
    plan = read_plan(job.params.study)
    check_plan(plan, vars(job.params))
    declared = purpose(job.params.purpose)
    drawn = [Path(drawn_in(room)) for room in figures_of([declared.name])]
    material = with_figures(read_material(".", plan.as_written, job.params.versions, job.params.begun), drawn)
    written = write(declared, material)
    if not declared.folder:
        write_all(written, drawn, ".")
        return
    with remake_folder(Path(declared.folder)) as folder:
        write_all(written, drawn, folder)
        if declared.further_files:
            function_named(declared.further_files)(material, written, folder)
