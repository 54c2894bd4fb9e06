"""What goes with each outcome: the chapter of the report as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import Chapter, Released, Table

ROOM = "liftseries.report.associations"

REPORT_CHAPTER = Chapter(
    id="associations",
    title="What goes with the outcomes",
    blocks=(f"{ROOM}.report_chapter:blocks",),
    tables=(
        Table(
            name="associations",
            makes=f"{ROOM}.tables:associations_table",
            caption="Adjusted associations with the outcomes.",
            released=Released(),
        ),
    ),
)
