"""The audit's figures, tables and chapters as declared. None of them leaves the house."""

from __future__ import annotations

from liftseries.report.kit.declarations import SINGLE_RECORDS, Chapter, Figure, KeptIn, Table

ROOM = "liftseries.report.audit"


def _kept(called: str) -> KeptIn:
    return KeptIn(SINGLE_RECORDS, called)


FUNNEL = Figure(
    name="audit_funnel",
    draws=f"{ROOM}.funnel_figure:draw_audit_funnel",
    reads={"funnel": "results:audit.funnel", "words": "words"},
    caption="Share of sites whose membrane was torn, by the number of sites, with exact limits that take a patient's "
    "sites as alike. Open circle: within the limits; filled diamond: alert; filled square: alarm.",
    released=_kept("the funnel of the units"),
    has_narrow=True,
)
MATRIX = Figure(
    name="audit_matrix",
    draws=f"{ROOM}.matrix_figure:draw_audit_matrix",
    reads={"strips": "audit_indicator_strips", "words": "words"},
    caption="Units by indicators: where to look.",
    released=_kept("the matrix of units and indicators"),
    has_narrow=True,
)
COURSE = Figure(
    name="audit_course",
    draws=f"{ROOM}.course_figure:draw_audit_course",
    reads={
        "charts": "audit_cusum_charts",
        "bands": "audit_time_bands",
        "cases": "cases",
        "changes": "changes",
    },
    caption="Tears observed less expected, case by case. Band: where 95 of 100 courses lie by chance at each case; "
    "triangle: a signal; dotted: a change.",
    released=_kept("the charts over time"),
    has_narrow=True,
)
YEARS = Figure(
    name="audit_years",
    draws=f"{ROOM}.year_figures:draw_audit_years",
    reads={"years": "results:audit.year", "changes": "changes"},
    caption="Share of sites torn by year of surgery, with 95% intervals that take patients as clusters; dotted: a "
    "change at every unit.",
    released=_kept("the rates by year"),
)
LEARNING = Figure(
    name="audit_learning",
    draws=f"{ROOM}.year_figures:draw_audit_learning",
    reads={"learning": "results:audit.learning"},
    caption="Risk of a tear by the operator's case number, averaged over all sites, with its 95% band.",
    released=_kept("the learning curve"),
)
STRIPS = Figure(
    name="audit_strips",
    draws=f"{ROOM}.strips_figure:draw_audit_strips",
    reads={"strips": "audit_indicator_strips"},
    caption="What stands behind each indicator of the whole series.",
    released=_kept("what stands behind the indicators"),
    has_narrow=True,
)
BENCHMARK = Figure(
    name="audit_benchmark",
    draws=f"{ROOM}.benchmark:draw_audit_benchmark",
    reads={
        "benchmark": "results:audit.benchmark",
        "published": "audit_published",
        "strips": "audit_indicator_strips",
    },
    caption="Published shares of sinuses torn, pooled, with the 95% prediction interval of a further series, and this "
    "one: context, no limit.",
    released=_kept("the series beside published ones"),
    has_narrow=True,
)
REPORT_TABLES = {
    name: Table(name, f"{ROOM}.{makes}", caption, _kept(called))
    for name, makes, caption, called in (
        (
            "audit_units",
            "unit_tables:units_table",
            "The units: torn of sites, limits for a unit of this make-up, flag, and what it would take to clear it.",
            "the table of the units",
        ),
        ("audit_actions", "cycle:actions_table", "Actions of earlier audits.", "the actions"),
    )
}
TABLES = {
    name: Table(name, f"{ROOM}.{makes}", caption, _kept(called))
    for name, makes, caption, called in (
        ("audit_chance", "unit_tables:chance_table", "Flags seen, and expected by chance.", "the flags by view"),
        ("audit_views", "unit_tables:views_table", "Each unit in every view.", "the views of the units"),
        ("audit_shrunken", "unit_tables:shrunken_table", "Rates drawn to the mean of all units.", "the units' rates"),
        (
            "audit_definitions",
            "indicator_tables:definitions_table",
            "The indicators: what they count, which way is good, their standard with its kind, source and date.",
            "the definitions",
        ),
        ("audit_charts", "time_tables:charts_table", "The charts over time.", "the charts over time"),
        (
            "audit_years",
            "time_tables:years_table",
            "Sites torn by year, and each year against all before it, of 100 sites.",
            "the rates by year",
        ),
        (
            "audit_learning",
            "time_tables:learning_table",
            "Risk of a tear by the operator's case number.",
            "the learning curve",
        ),
    )
}
STRIPS_TABLE = Table(
    name="audit_strips",
    makes=f"{ROOM}.indicator_tables:strips_table",
    caption="What stands behind each indicator of the whole series.",
    released=_kept("what stands behind the indicators"),
    options={"every_unit": False},
)
EVERY_STRIP = Table(
    name="audit_every_strip",
    makes=f"{ROOM}.indicator_tables:strips_table",
    caption="What stands behind each indicator of every unit.",
    released=_kept("what stands behind the indicators"),
    options={"every_unit": True},
)
FIRST_PAGE = Chapter("answers", "Audit: in two minutes", (f"{ROOM}.first_page:blocks",), numbered=False)
UNITS = Chapter(
    id="units",
    title="Units against each other",
    blocks=(f"{ROOM}.chapters:units_apart",),
    figures=(FUNNEL,),
    tables=(REPORT_TABLES["audit_units"],),
)
WHERE = Chapter("where", "Where to look", (f"{ROOM}.chapters:where_to_look",), figures=(MATRIX,))
TIME = Chapter("time", "Over time", (f"{ROOM}.chapters:over_time",), figures=(COURSE, YEARS, LEARNING))
STAGES = Chapter("stages", "Flags, stage by stage", (f"{ROOM}.stages:blocks",))
CYCLE = Chapter(
    id="cycle",
    title="Earlier actions, and replies",
    blocks=(f"{ROOM}.cycle:blocks",),
    tables=(REPORT_TABLES["audit_actions"],),
)
PUBLISHED = Chapter("published", "Beside published series", (f"{ROOM}.chapters:published",))
SUPPLEMENT = f"{ROOM}.supplement_chapters"
VIEWS = Chapter(
    id="views",
    title="Every view",
    blocks=(f"{SUPPLEMENT}:views",),
    tables=(TABLES["audit_chance"], TABLES["audit_views"]),
)
FURTHER_STAGES = Chapter("further-stages", "Further flags, stage by stage", (f"{ROOM}.stages:further",))
BETWEEN = Chapter(
    id="between",
    title="Differences beyond chance",
    blocks=(f"{SUPPLEMENT}:between",),
    tables=(TABLES["audit_shrunken"],),
)
INDICATORS = Chapter(
    id="indicators",
    title="The indicators",
    blocks=(f"{SUPPLEMENT}:indicators",),
    figures=(STRIPS,),
    tables=(STRIPS_TABLE, TABLES["audit_definitions"]),
)
CHARTS = Chapter(
    id="charts",
    title="Over time, in figures",
    blocks=(f"{SUPPLEMENT}:charts",),
    tables=tuple(TABLES[name] for name in ("audit_charts", "audit_years", "audit_learning")),
)
SERIES = Chapter("each-published", "Published series", (f"{SUPPLEMENT}:published",), figures=(BENCHMARK,))
METHODS = Chapter("methods", "Methods", (f"{SUPPLEMENT}:methods",))
LEFT_OUT = Chapter("left-out", "Sites left out", (f"{SUPPLEMENT}:left_out",))
