"""Tears as recorded: figures and tables as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import SINGLE_RECORDS, Figure, KeptIn, Table

ROOM = "liftseries.report.perforation"

RECORDED_FIGURES = (
    Figure(
        name="tear_stages",
        draws=f"{ROOM}.recorded_figures:draw_tear_stages",
        reads={"cases": "cases"},
        caption="Tears by the stage at which they were noticed: each mark is a tear at its largest diameter, a bar the "
        "median of five or more.",
        released=KeptIn(SINGLE_RECORDS, "tears by stage and size"),
    ),
    Figure(
        name="learning",
        draws=f"{ROOM}.recorded_figures:draw_learning",
        reads={"rates": "results:perforation.learning", "cases": "cases"},
        caption="Share of sites torn by bands of the operator's case number, with 95% intervals that take patients as "
        "clusters. Ticks below: the case number of each site, torn ones above the others.",
        released=KeptIn(SINGLE_RECORDS, "tears by case number"),
    ),
)
RECORDED_TABLES = (
    Table(
        name="learning",
        makes=f"{ROOM}.recorded_tables:learning_table",
        caption="Sites torn, by the operator's case number.",
        released=KeptIn(SINGLE_RECORDS, "tears by case number"),
    ),
)
