"""What closes a report and its supplement: tables and chapters as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import Chapter, Released, Table

ROOM = "liftseries.report.closing"

LEFT_OUT = Table(
    name="left_out",
    makes=f"{ROOM}.tables:left_out_table",
    caption="Sites that each analysis left out, and why; a site counts once, under its first reason.",
    released=Released(),
)
IMPUTATION = Table(
    name="imputation",
    makes=f"{ROOM}.tables:imputation_table",
    caption="How missing terms were imputed: each from the others, in turn.",
    released=Released(),
)
LIMITS = Chapter(
    id="limits",
    title="Limits and methods",
    blocks=(f"{ROOM}.report_chapter:blocks", f"{ROOM}.report_chapter:not_possible"),
)
CHECKLIST = Chapter(id="checklist", title="Where to find what", blocks=(f"{ROOM}.checklist:checklist",), numbered=False)
WITHHELD = Chapter(
    id="withheld",
    title="What was withheld, and why",
    blocks=(f"{ROOM}.withheld:what_was_withheld",),
    only_released=True,
)
VERSIONS = Chapter(
    id="versions",
    title="Versions and inputs",
    blocks=(f"{ROOM}.versions:versions", f"{ROOM}.versions:since_earlier"),
    released_title="Versions and plan",
)
INDEX = Chapter(id="index", title="Index of results", blocks=(f"{ROOM}.index:index",))
