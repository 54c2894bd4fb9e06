"""What differs between groups: figures, tables and chapters as declared; all stay in the house."""

from __future__ import annotations

from liftseries.report.kit.declarations import NOT_COARSENED, Chapter, Figure, KeptIn, Table

ROOM = "liftseries.report.comparison"
KEPT = KeptIn(NOT_COARSENED, "the comparison of groups")


def _table(name: str, makes: str, caption: str) -> Table:
    return Table(f"comparison_{name}", f"{ROOM}.{makes}", caption, KEPT)


SECONDARY = _table("secondary", "tables:secondary_table", "The secondary outcomes, crude and adjusted.")
ALIKE = Figure(
    name="comparison_alike",
    draws=f"{ROOM}.alike_figure:draw_alike",
    reads={
        "propensity": "comparison_propensity",
        "balance": "results:comparison.balance",
        "comparison": "plan:comparison",
        "words": "words",
    },
    caption="Left: sites by their propensity score, the group upwards, the reference downwards. Right: standardised "
    "differences of the terms before (open) and after weighting (filled); dashed: 0.1.",
    released=KEPT,
    has_narrow=True,
)
DIFFERENCES = Figure(
    name="comparison_differences",
    draws=f"{ROOM}.differences_figure:draw_differences",
    reads={
        **{name: f"results:comparison.{name}" for name in ("perforation", "survival", "gain", "deeper", "adherence")},
        "entangled": "comparison_entangled",
        "comparison": "plan:comparison",
        "survival_months": "plan:survival_months",
        "words": "words",
    },
    caption="Differences from the reference with 95% intervals, patients as clusters: adjusted (filled) and crude "
    "(open); dashed: the difference in the primary outcome that matters, if one was set.",
    released=KEPT,
    has_narrow=True,
)
SURVIVAL = Figure(
    name="comparison_survival",
    draws=f"{ROOM}.survival_figure:draw_survival",
    reads={
        "curves": "comparison_curves",
        "at_risk": "comparison_at_risk",
        "survival": "results:comparison.survival",
        "entangled": "comparison_entangled",
        "comparison": "plan:comparison",
        "survival_months": "plan:survival_months",
        "words": "words",
    },
    caption="Kaplan-Meier curves by group, as far as 20 implants are at risk; below: implants at risk, unweighted.",
    released=KEPT,
    has_narrow=True,
)
ANSWERS = Chapter("answers", "Answers", (f"{ROOM}.answers:blocks",), tables=(SECONDARY,), numbered=False)
GROUPS = Chapter(
    "groups",
    "Who is compared",
    (f"{ROOM}.report_chapters:who",),
    figures=(ALIKE,),
    tables=(
        _table("glance", "who_tables:glance_table", "Groups by operator and year of surgery."),
        _table("characteristics", "who_tables:characteristics_table", "Patients and sites by group."),
    ),
)
DIFFERS = Chapter(
    "differences",
    "What differs",
    (f"{ROOM}.report_chapters:what_differs",),
    figures=(DIFFERENCES, SURVIVAL),
    tables=(_table("outcomes", "tables:outcomes_table", "All outcomes, crude and adjusted."),),
)
AS_DRILLED = Chapter(
    "as-drilled",
    "As drilled",
    (f"{ROOM}.report_chapters:as_drilled",),
    tables=(
        _table("fallen_out", "tables:fallen_out_table", "Who is left where only cases drilled as planned count."),
        _table("as_drilled", "tables:as_drilled_table", "Differences of all sites and of those drilled as planned."),
    ),
)
CHECKLIST = Chapter("checklist", "Where to find what", (f"{ROOM}.checklist:checklist",), numbered=False)
METHODS = Chapter("methods", "Methods", (f"{ROOM}.supplement_chapters:methods",))
BALANCE = Chapter(
    "balance",
    "Balance",
    (f"{ROOM}.supplement_chapters:balance",),
    tables=(_table("balance", "tables:balance_table", "Standardised differences of the terms."),),
)
BY_METHOD = Chapter(
    "by-method",
    "Differences by method",
    (f"{ROOM}.supplement_chapters:by_method",),
    tables=(_table("by_method", "tables:by_method_table", "Every outcome by every method."),),
)
LEFT = Chapter(
    "left-out",
    "Sites left out",
    (f"{ROOM}.supplement_chapters:left_out",),
    tables=(_table("left_out", "tables:left_out_table", "Sites that each outcome left out, and why."),),
)
