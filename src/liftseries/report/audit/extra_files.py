"""The files beside an audit's report: cases to review, their records, own results, lay page, minutes, next actions."""

from __future__ import annotations

from pathlib import Path

from liftseries.base.file_names import safe_names
from liftseries.base.outputs import write_csv, written_whole
from liftseries.report.audit.found import flagged_units
from liftseries.report.audit.minutes import minutes
from liftseries.report.audit.next_actions import drafted_actions
from liftseries.report.audit.own import OwnResults
from liftseries.report.audit.own_lay import lay_page
from liftseries.report.audit.records import Records
from liftseries.report.audit.records_written import write_records
from liftseries.report.audit.review_book import review_book
from liftseries.report.audit.run_tables import RunTables
from liftseries.report.kit.blocks import Written
from liftseries.report.kit.material import Material
from liftseries.report.kit.typeset import set_page

OPERATORS = "operators"
SHEET = "sheet.typ"


def write_further_files(material: Material, written: Written, folder: Path | str) -> None:
    """Writes them.

    Parameters
    ----------
    material : of the run
    written : the documents, which stand there already
    folder : of the audit, within the output folder
    """
    folder = Path(folder)
    run = RunTables(folder.parent, material.plan)
    records, own = Records(run), OwnResults(run, material.results)
    rule = run.left("audit_review_rule")
    _write(folder / "cases_to_review.xlsx", review_book(records.listed, rule, material.words))
    write_records(records, folder)
    for unit, name in safe_names(own.units).items():
        _write(folder / OPERATORS / f"{name}.pdf", set_page(SHEET, own.page(unit)))
    _write(folder / "lay.pdf", set_page(SHEET, lay_page(run)))
    _write(folder / "minutes.docx", minutes(run, flagged_units(material.results, run)))
    write_csv(folder / "actions_next.csv", drafted_actions(material.results, run))


def _write(path: Path, content: bytes) -> None:
    with written_whole(path) as temporary:
        temporary.write_bytes(content)
