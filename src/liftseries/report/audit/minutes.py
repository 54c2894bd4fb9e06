"""Minutes to fill in: present, interests, a decision a flag, next date, signed."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from docx import Document
from docx.shared import Mm, Pt

from liftseries.intake.books.workbook_cells import shown
from liftseries.report.audit.found import Flagged, years_in_words
from liftseries.report.audit.run_tables import RunTables
from liftseries.report.kit.packing import FIXED_TIME, undated
from liftseries.report.kit.words import shortened
from liftseries.report.languages.say import say

FONT, SIZE = "Arial", Pt(10)
BLANK_ROWS = 6
STAGE = ("Stage", "Name", "Who", "Working days", "What is done")
DECISION = ("What is decided", "Owner, as a role", "By when", "How we shall know")


def minutes(run: RunTables, flagged: Sequence[Flagged]) -> bytes:
    """The file; the same bytes at a rerun."""
    document = Document()
    properties = document.core_properties
    properties.author, properties.comments, properties.title = "", "", say("audit_extra.minutes_title")
    properties.created = properties.modified = datetime(*FIXED_TIME)
    document.styles["Normal"].font.name, document.styles["Normal"].font.size = FONT, SIZE
    page = document.sections[0]
    page.page_width, page.page_height, page.left_margin, page.right_margin = Mm(210), Mm(297), Mm(20), Mm(20)
    document.add_paragraph(say("audit_extra.for_committee"))
    document.add_heading(say("audit_extra.minutes_title"), 1)
    study, closed = run.plan["study"], run.plan["study"]["data_until"] or say("audit_extra.closed_unknown")
    document.add_paragraph(shown(study["title"]))
    document.add_paragraph(say("audit_extra.own_period", years=years_in_words(run), closed=closed))
    _grid(document, "Meeting", ("Date", "Place", "Chair", "Minutes by"), 1)
    _grid(
        document, "Present", ("Role", "Name", "Interests in what is decided today", "Left for these items"), BLANK_ROWS
    )
    document.add_heading("Decisions, one a flag", 2)
    document.add_paragraph(say("audit_extra.minutes_flag_means", words=shown(run.audit["policy"]["flag_means"])))
    _stages(document, run.audit["policy"]["stages"])
    for one in flagged:
        _decision(document, one)
    if not flagged:
        document.add_paragraph(say("audit_extra.minutes_no_flag"))
        _table(document, DECISION, 2)
    _grid(document, "Cases reviewed", ("Number or site", "Reviewer", "Conclusion"), BLANK_ROWS)
    _grid(document, "Next meeting and next audit", ("Next meeting", "Next audit", "Data close on"), 1)
    _grid(document, "Signed", ("Role", "Signature", "Date"), 2)
    saved = io.BytesIO()
    document.save(saved)
    return undated(saved.getvalue())


def _stages(document, stages: Sequence[Mapping[str, Any]]) -> None:
    """What follows a flag, as the policy has it: stage, who, working days."""
    if not stages:
        return
    document.add_paragraph(say("audit_extra.minutes_stages"))
    rows = [
        (str(number), shown(one["name"]), shown(one["who"]), str(int(one["working_days"])), shown(one["what"]))
        for number, one in enumerate(stages, start=1)
    ]
    _table(document, STAGE, len(rows), rows)


def _decision(document, one: Flagged) -> None:
    unit = shortened(shown(one.unit), 60)
    counts = {"n_events": one.n_events, "n_sites": one.n_sites, "expected": one.expected}
    document.add_paragraph(say("audit_extra.minutes_flag", unit=unit, **counts)).runs[0].bold = True
    document.add_paragraph(say("audit_extra.minutes_stands", yes="yes" if one.stands else "no"))
    document.add_paragraph(_reply(one))
    _table(document, DECISION, 2)


def _reply(one: Flagged) -> str:
    if not one.statement:
        return say("audit_extra.minutes_no_reply")
    return say("audit_extra.minutes_reply", date=one.replied_on, statement=shown(one.statement))


def _grid(document, heading: str, headings: Iterable[str], n_rows: int) -> None:
    document.add_heading(heading, 2)
    _table(document, tuple(headings), n_rows)


def _table(document, headings: Sequence[str], n_rows: int, filled: Sequence[Sequence[str]] = ()) -> None:
    """Headings and rows: those that are filled, or empty ones to be written in."""
    table = document.add_table(rows=1 + n_rows, cols=len(headings))
    table.style = "Table Grid"
    for cell, text in zip(table.rows[0].cells, headings, strict=True):
        cell.paragraphs[0].add_run(text).bold = True
    for row in table.rows[1:]:
        row.height = Pt(22)
    for row, texts in zip(table.rows[1:], filled, strict=False):
        for cell, text in zip(row.cells, texts, strict=True):
            cell.paragraphs[0].add_run(text)
    document.add_paragraph()
