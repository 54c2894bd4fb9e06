"""What bone was gained: its figures, tables and chapter as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import Chapter, Figure, Released, Table

ROOM = "liftseries.report.gain"

REPORT_FIGURES = (
    Figure(
        name="bone_over_time",
        draws=f"{ROOM}.figures:draw_bone_over_time",
        reads={
            "gain": "results:gain.mixed",
            "marginal": "results:bone.marginal",
            "gain_by_visit": "gain_by_visit",
            "bone_by_visit": "bone_by_visit",
            "visits": "visits",
            "cases": "cases",
        },
        caption=(
            "Bone gain, and how far the marginal bone lies below the platform, over time. Filled: the means that the "
            "text quotes, with their 95% intervals. Open: the mean of the measurements nearest to each other recall "
            "(placement, six months, each year). Dots: every measurement. The numbers below say how many stand behind "
            "each mean; of fewer than five none is drawn, and no line joins them, since the sites change."
        ),
        released=Released(
            "Bone gain, and how far the marginal bone lies below the platform, over time. Filled: the means that the "
            "text quotes, with their 95% intervals. Open: the mean of the measurements nearest to each other recall. "
            "Single measurements are not shown; a dash is a number withheld."
        ),
    ),
)
FIGURES = ()
TABLES = (
    Table(
        name="bone_at_months",
        makes=f"{ROOM}.tables:bone_at_months_table",
        caption="Bone gain and marginal bone level at the months asked for.",
        released=Released(),
    ),
    Table(
        name="bone_terms",
        makes=f"{ROOM}.tables:bone_terms_table",
        caption="Differences in bone gain and in marginal bone level, mm, by term.",
        released=Released(),
    ),
    Table(
        name="gain_scatter",
        makes=f"{ROOM}.tables:gain_scatter_table",
        caption="Scatter of the bone gain, standard deviations.",
        released=Released(),
    ),
    Table(
        name="bone_methods",
        makes=f"{ROOM}.tables:bone_methods_table",
        caption="Bone: the same question by other methods.",
        released=Released(),
    ),
    Table(
        name="stability",
        makes=f"{ROOM}.tables:stability_table",
        caption="Insertion torque and stability quotient (ISQ) by bone quality and residual bone height.",
        released=Released(),
    ),
)
REPORT_CHAPTER = Chapter(
    id="bone",
    title="Bone and clinical course",
    blocks=(f"{ROOM}.report_chapter:blocks",),
    figures=REPORT_FIGURES,
)
SUPPLEMENT_CHAPTER = Chapter(
    id="gain",
    title="Bone gain, stability, gain and later failure",
    blocks=(f"{ROOM}.supplement_chapter:blocks",),
    figures=FIGURES,
    tables=TABLES,
)
