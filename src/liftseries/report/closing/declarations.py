"""What closes a report: its tables and chapters as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import Chapter, Released, Table

ROOM = "liftseries.report.closing"

LEFT_OUT = Table(
    name="left_out",
    makes=f"{ROOM}.tables:left_out_table",
    caption="Sites that each analysis left out, and why; a site counts once, under its first reason.",
    released=Released(),
)
BEHIND_THE_NUMBERS = (
    Table(
        name="imputation",
        makes=f"{ROOM}.tables:imputation_table",
        caption="How missing terms were imputed: each from the others, in turn.",
        released=Released(),
    ),
    Table(
        name="other_estimates",
        makes="liftseries.report.kit.tables.listing:other_estimates_table",
        caption="Other estimates.",
        released=Released(),
        takes_the_rest=True,
    ),
)
LIMITS = Chapter(id="limits", title="What this cannot tell", blocks=f"{ROOM}.limits:limits", tables=(LEFT_OUT,))
WITHHELD = Chapter(
    id="withheld",
    title="What was withheld, and why",
    blocks=f"{ROOM}.withheld:what_was_withheld",
    only_released=True,
)
METHODS = Chapter(id="methods", title="Methods", blocks=f"{ROOM}.methods:methods", tables=BEHIND_THE_NUMBERS)
VERSIONS = Chapter(
    id="versions",
    title="Versions, plan and inputs",
    blocks=f"{ROOM}.versions:versions",
    released_title="Versions and plan",
)
