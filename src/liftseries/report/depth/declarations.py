"""How deep was drilled: its figures, tables and chapters as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import SINGLE_RECORDS, Chapter, Figure, KeptIn, Released, Table

ROOM = "liftseries.report.depth"

REPORT_FIGURES = (
    Figure(
        name="adherence",
        draws=f"{ROOM}.adherence_figure:draw_adherence",
        reads={"adherence": "results:depth.adherence", "deviations": "results:depth.deviations"},
        caption=(
            "Sites drilled as planned, and sites with each deviation, of those that can be judged, by approach; lines: "
            "95% interval, patients as clusters. Hatched: sites whose log does not tell enough to judge it."
        ),
        released=Released(),
        has_narrow=True,
    ),
)
FIGURES = (
    Figure(
        name="planned_achieved",
        draws=f"{ROOM}.figures:draw_planned_achieved",
        reads={"cases": "cases", "agreement": "results:depth.agreement"},
        caption=(
            "Last depth drilled less the planned one, against the planned one; above 0 is deeper than planned, a "
            "larger mark stands for more sites. Dashed: bias; dotted: limits of agreement, patients as clusters."
        ),
        released=KeptIn(SINGLE_RECORDS, "planned against achieved depth"),
        has_narrow=True,
    ),
    Figure(
        name="depth_read",
        draws=f"{ROOM}.figures:draw_depth_read",
        reads={"steps": "derived_steps", "agreement": "results:depth.read"},
        caption=(
            "Gauge depth less osteotomy depth while the floor was closed, against osteotomy depth; above 0 is read "
            "deeper. Dashed: bias; dotted: limits of agreement, patients as clusters."
        ),
        released=KeptIn(SINGLE_RECORDS, "gauge readings"),
    ),
    Figure(
        name="ladder_case",
        draws=f"{ROOM}.ladder_figures:draw_ladder_case",
        reads={"ladder_cases": "ladder_cases"},
        caption=(
            "Worked cases: the depth that each pass reached, mm below the crest (length less what the stop takes off, "
            "plus platform depth). Bars: drills, from the depth before; flat bars went no deeper; circles: gauges; "
            "dotted lines: rungs."
        ),
        released=KeptIn(SINGLE_RECORDS, "the drilling logs of single cases"),
        has_narrow=True,
    ),
)
TABLES = (
    Table(
        name="worked_cases",
        makes=f"{ROOM}.tables:cases_table",
        caption="The worked cases pass by pass, mm.",
        released=KeptIn(SINGLE_RECORDS, "the drilling logs of single cases"),
    ),
    Table(
        name="drilled_as_planned",
        makes=f"{ROOM}.tables:shares_table",
        caption="How the drilling ended, sites drilled as planned, and perforations with and without a deviation.",
        released=Released(),
    ),
    Table(
        name="deviations",
        makes=f"{ROOM}.tables:deviations_table",
        caption="Deviations from the drilling plan, of the sites where each can be judged.",
        released=Released(),
    ),
    Table(
        name="depth_agreement",
        makes=f"{ROOM}.tables:agreement_table",
        caption="Agreement of the last depth drilled with the planned one, mm; positive is deeper than planned.",
        released=Released(),
        options={"analysis": "depth.agreement", "bias": "Bias, drilled less planned"},
    ),
    Table(
        name="depth_read",
        makes=f"{ROOM}.tables:agreement_table",
        caption="Agreement of gauge depth with osteotomy depth, mm; positive is read deeper.",
        released=Released(),
        options={"analysis": "depth.read", "bias": "Bias, gauge less osteotomy depth"},
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
