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
        },
        caption=(
            "Mean bone gain and marginal bone level at the recalls, n below; filled: as quoted, with 95% interval, "
            "patients as clusters; bars: one standard deviation. Not joined, as the sites change."
        ),
        released=Released(
            "Mean bone gain and marginal bone level at the recalls, n below where it is told; filled: as quoted, with "
            "95% interval, patients as clusters; bars: one standard deviation. Not joined, as the sites change."
        ),
        has_narrow=True,
    ),
)
TABLES = (
    Table(
        name="bone_at_months",
        makes=f"{ROOM}.tables:bone_at_months_table",
        caption="Bone gain and marginal bone level at the months asked for (95% intervals).",
        released=Released(),
    ),
    Table(
        name="bone_methods",
        makes=f"{ROOM}.tables:bone_methods_table",
        caption="What is associated with bone gain and with the marginal bone level, and their change per year.",
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
    tables=TABLES,
)
