"""Single-case records as files: a page a case, its name safe whatever the site is called."""

from __future__ import annotations

from pathlib import Path

from liftseries.base.file_names import safe_name
from liftseries.base.outputs import written_whole
from liftseries.report.audit.records import Records
from liftseries.report.audit.run_tables import RunTables
from liftseries.report.kit.typeset import set_page

MOST_RECORDS = 20  # of the cases to review, the most serious first
RECORDS = "records"
TEMPLATE = "case.typ"


def write_records(records: Records, folder: Path) -> list[Path]:
    """A record of each of the most serious cases to review, numbered in their order."""
    listed = records.listed.head(MOST_RECORDS)
    return [
        write_record(records, str(site), folder / RECORDS, f"{place:02d}-")
        for place, site in enumerate(listed["site_id"], start=1)
    ]


def write_record(records: Records, site_id: str, folder: Path, before: str = "") -> Path:
    """The record of one site; KeyError where there is none of that name."""
    path = folder / f"{before}{safe_name(site_id)}.pdf"
    page = set_page(TEMPLATE, records.record(site_id))
    with written_whole(path) as temporary:
        temporary.write_bytes(page)
    return path


def records_of(output: Path, plan) -> Records:
    """What the records of a finished run are made from."""
    return Records(RunTables(output, plan))
