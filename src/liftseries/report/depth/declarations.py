"""How deep was drilled: its figures, tables and chapter as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import SINGLE_RECORDS, Chapter, Figure, KeptIn, Released, Table

ROOM = "liftseries.report.depth"

REPORT_FIGURES = (
    Figure(
        name="deviations",
        draws=f"{ROOM}.share_figures:draw_deviations",
        reads={"deviations": "deviations"},
        caption=(
            "Sites with a drilling log that show each deviation from the drilling plan, by approach: the share of "
            "those where it can be judged, and beside it (hatched) those where the log does not tell enough to "
            "judge it."
        ),
        released=Released(),
    ),
)
FIGURES = (
    Figure(
        name="planned_achieved",
        draws=f"{ROOM}.figures:draw_planned_achieved",
        reads={"cases": "cases", "agreement": "results:depth.agreement"},
        caption=(
            "Achieved less planned last depth against the planned one; a larger mark stands for more sites. "
            "Solid line: bias; dashed lines: limits of agreement. Above 0 is deeper than planned."
        ),
        released=KeptIn(SINGLE_RECORDS, "planned against achieved depth"),
    ),
    Figure(
        name="ended",
        draws=f"{ROOM}.share_figures:draw_ended",
        reads={"ended": "results:depth.ended"},
        caption=(
            "How the drilling ended against the plan: share of the sites with a plan and a drilling log, with 95% "
            "interval, patients as clusters. As planned is within the tolerance of the plan."
        ),
        released=Released(),
    ),
    Figure(
        name="adherence",
        draws=f"{ROOM}.share_figures:draw_adherence",
        reads={"adherence": "results:depth.adherence"},
        caption=(
            "Sites drilled as planned, that is with none of the deviations that can be judged from their log: share of "
            "the sites with a drilling log, with 95% interval, patients as clusters."
        ),
        released=Released(),
    ),
    Figure(
        name="depth_read",
        draws=f"{ROOM}.figures:draw_depth_read",
        reads={"steps": "derived_steps", "agreement": "results:depth.read"},
        caption=(
            "Depth read on the gauge less the depth of the hole as recomputed from instrument and stop, while the "
            "floor was closed; a larger mark stands for more readings. Solid line: bias; dashed lines: limits of "
            "agreement."
        ),
        released=KeptIn(SINGLE_RECORDS, "gauge readings"),
    ),
    Figure(
        name="ladder_case",
        draws=f"{ROOM}.ladder_figures:draw_ladder_case",
        reads={"ladder_cases": "ladder_cases"},
        caption=(
            "The passes of single cases. Bars: drill passes, from the depth already reached to their own; a "
            "flat bar went no deeper. Circles: gauge passes. Above the crest, what was used: its length in mm "
            "less what the stop takes off. Dotted lines: planned rungs."
        ),
        released=KeptIn(SINGLE_RECORDS, "the drilling logs of single cases"),
    ),
)
TABLES = (
    Table(
        name="drilled_as_planned",
        makes=f"{ROOM}.tables:shares_table",
        caption="How the drilling ended against the plan, and the sites drilled as planned.",
        released=Released(),
    ),
    Table(
        name="deviations",
        makes=f"{ROOM}.tables:deviations_table",
        caption="Sites that show a deviation, of the sites where it can be judged, and how many cannot be judged.",
        released=Released(),
    ),
    Table(
        name="depth_agreement",
        makes=f"{ROOM}.tables:agreement_table",
        caption="Agreement of the last drilled depth with the planned one, mm; positive is deeper than planned.",
        released=Released(),
        options={"analysis": "depth.agreement", "bias": "Bias, achieved less planned"},
    ),
    Table(
        name="depth_read",
        makes=f"{ROOM}.tables:agreement_table",
        caption="Agreement of the depth read on the gauge with the recomputed one, mm; positive is read deeper.",
        released=Released(),
        options={"analysis": "depth.read", "bias": "Bias, read less recomputed"},
    ),
    Table(
        name="proportional_bias",
        makes="liftseries.report.kit.tables.terms:terms_table",
        caption="Error of the last depth along the planned depth, mm.",
        released=Released(),
        options={"analysis": "depth.proportional_bias"},
    ),
)
REPORT_CHAPTER = Chapter(
    id="adherence",
    title="Adherence to the drilling plan",
    blocks=(f"{ROOM}.report_chapter:blocks",),
    figures=REPORT_FIGURES,
)
SUPPLEMENT_CHAPTER = Chapter(
    id="depth",
    title="Depth of drilling",
    blocks=(f"{ROOM}.supplement_chapter:blocks",),
    figures=FIGURES,
    tables=TABLES,
)
