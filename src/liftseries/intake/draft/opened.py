"""The tables of a plan as raw cells, and with their corrections and types."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.intake.corrections.lines import Corrections
from liftseries.intake.draft.draft import Draft
from liftseries.intake.draft.stack import correct, open_table, stack
from liftseries.intake.forms.files_read import FilesRead
from liftseries.intake.identifiers.file_names import called_safely
from liftseries.study.plan import Plan
from liftseries.study.schema import EVERY_TABLE


def opened(plan: Plan, corrections: Corrections, names: Iterable[str] = EVERY_TABLE) -> dict[str, Draft]:
    """The tables that the plan names as raw cells, before corrections; see `open_table`."""
    schema, tables = plan.every_schema, called_safely(plan.tables)
    files = FilesRead(schema, tables)
    return {
        name: open_table(schema[name], tables[name], plan.readings, files, corrections.secret)
        for name in names
        if plan.has(name)
    }


def stacked(plan: Plan, corrections: Corrections, names: Iterable[str] = EVERY_TABLE) -> dict[str, Draft]:
    """The tables that the plan names, corrected and typed, nothing checked beyond a cell on its own."""
    drafts = opened(plan, corrections, names)
    correct(drafts, corrections)
    for draft in drafts.values():
        stack(draft, plan.readings)
    return drafts
