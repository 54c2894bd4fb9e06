"""How often the membrane tore: its figures, tables and chapter as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import (
    NOT_COARSENED,
    SINGLE_RECORDS,
    Chapter,
    Figure,
    KeptIn,
    Released,
    Table,
)
from liftseries.report.perforation.recorded_declarations import RECORDED_FIGURES, RECORDED_TABLES

ROOM = "liftseries.report.perforation"
REPORT_FIGURES = (
    Figure(
        name="perforation_by_height",
        draws=f"{ROOM}.figures:draw_perforation_by_height",
        reads={"rates": "results:perforation.rate", "words": "words"},
        caption=("Share of sites whose membrane was perforated, with 95% intervals that take patients as clusters."),
        released=Released(),
    ),
    Figure(
        name="risk_curves",
        draws=f"{ROOM}.figures:draw_risk_curves",
        reads={
            "curves": "perforation_risk_curves",
            "height": "results:perforation.risk",
            "lift": "results:perforation.risk_lift",
        },
        caption=(
            "Standardised risk of a perforation along residual bone height and planned lift, the other terms as they "
            "are in the series. Solid, with its patient-clustered 95% band: a flexible curve (restricted cubic "
            "spline), below 20 perforations the model whose odds ratio is quoted. Dashed beside the curve: that model. "
            "Bars below: how many sites were near each height."
        ),
        released=KeptIn(NOT_COARSENED, "the risk curves with the number of sites below them"),
    ),
)
REPORT_TABLES = (
    Table(
        name="tears",
        makes=f"{ROOM}.recorded_tables:tears_table",
        caption="Tears as recorded: stage, size, management, how they were looked for, and what followed.",
        released=Released(),
    ),
)
FIGURES = (
    Figure(
        name="perforation_methods",
        draws=f"{ROOM}.figures:draw_perforation_methods",
        reads={
            "firth": "results:perforation.firth",
            "gee": "results:perforation.gee",
            "imputed": "results:perforation.imputed",
            "words": "words",
        },
        caption=(
            "The same question by other methods: odds ratios of a perforation with 95% intervals, each term adjusted "
            "for the others. Filled: the one that the report quotes."
        ),
        released=Released(),
    ),
)
TABLES = (
    Table(
        name="perforation_rate",
        makes=f"{ROOM}.tables:perforation_rate_table",
        caption="Share of sites whose membrane was perforated, with 95% intervals, patients as clusters.",
        released=Released(),
    ),
    Table(
        name="perforation_few_cases",
        makes=f"{ROOM}.tables:few_cases_table",
        caption="The perforations one by one: too few to be compared.",
        released=KeptIn(SINGLE_RECORDS, "the table of the few perforations"),
    ),
    Table(
        name="perforation_odds",
        makes=f"{ROOM}.tables:odds_table",
        caption="Odds ratios of a perforation, each term adjusted for the others.",
        released=Released(),
    ),
    Table(
        name="perforation_methods",
        makes=f"{ROOM}.other_methods:methods_table",
        caption="The same question by other methods.",
        released=Released(),
    ),
    Table(
        name="risk_differences",
        makes=f"{ROOM}.tables:risk_differences_table",
        caption="Standardised differences in perforations per 100 sites.",
        released=Released(),
    ),
    Table(
        name="perforation_risk",
        makes=f"{ROOM}.tables:risk_table",
        caption="Modelled risk of a perforation by height and lift, the other terms as they are in the series.",
        released=Released(),
    ),
    Table(
        name="perforation_nonlinearity",
        makes=f"{ROOM}.tables:nonlinearity_table",
        caption="Non-linearity of the risk: the spline's non-linear term, as an odds ratio.",
        released=Released(),
    ),
    Table(
        name="perforation_validation",
        makes=f"{ROOM}.tables:validation_table",
        caption="The perforation model as a predictor.",
        released=Released(),
    ),
)
REPORT_CHAPTER = Chapter(
    id="membrane",
    title="The membrane",
    blocks=(f"{ROOM}.report_chapter:blocks",),
    figures=REPORT_FIGURES,
    tables=REPORT_TABLES,
)
SUPPLEMENT_CHAPTER = Chapter(
    id="perforation",
    title="The membrane: how sure",
    blocks=(f"{ROOM}.supplement_chapter:blocks",),
    figures=(*FIGURES, *RECORDED_FIGURES),
    tables=(*TABLES, *RECORDED_TABLES),
)
PREDICTION_CHAPTER = Chapter(
    id="prediction",
    title="Risk along height and lift, prediction",
    blocks=(f"{ROOM}.supplement_chapter:prediction",),
)
