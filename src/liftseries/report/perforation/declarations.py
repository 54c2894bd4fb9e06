"""The membrane: its figures, tables and chapters as declared."""

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

ROOM = "liftseries.report.perforation"
REPORT_FIGURES = (
    Figure(
        name="perforation_shares",
        draws=f"{ROOM}.figures:draw_perforation_shares",
        reads={"rates": "results:perforation.rate", "words": "words"},
        caption="Share of sites whose membrane was perforated, with 95% intervals that take patients as clusters; "
        "line: all sites.",
        released=Released(),
        has_narrow=True,
    ),
    Figure(
        name="risk_curves",
        draws=f"{ROOM}.risk_figures:draw_risk_curve",
        reads={"height": "results:perforation.risk", "cases": "cases"},
        caption="Modelled risk of a perforation along residual bone height, averaged over the sites, with its 95% "
        "band; bars: sites by height.",
        released=KeptIn(SINGLE_RECORDS, "the risk curve with the number of sites below it"),
        has_narrow=True,
    ),
)
REPORT_TABLES = (
    Table(
        name="perforation_few_cases",
        makes=f"{ROOM}.tables:few_cases_table",
        caption="The perforations one by one.",
        released=KeptIn(SINGLE_RECORDS, "the table of the few perforations"),
    ),
    Table(
        name="tears",
        makes=f"{ROOM}.recorded_tables:tears_table",
        caption="Perforations as recorded: stage, test, management and size.",
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
        caption="Odds ratios of a perforation by method, with 95% intervals, each term adjusted for the others.",
        released=Released(),
        has_narrow=True,
    ),
    Figure(
        name="learning",
        draws=f"{ROOM}.recorded_figures:draw_learning",
        reads={"rates": "results:perforation.learning", "cases": "cases"},
        caption="Share of sites perforated by bands of the operator's case number, with 95% intervals that take "
        "patients as clusters; ticks: the case number of each site, where no operator has more than 400.",
        released=KeptIn(SINGLE_RECORDS, "perforations by case number"),
    ),
)
TABLES = (
    Table(
        name="perforation_methods",
        makes=f"{ROOM}.other_methods:methods_table",
        caption="The same questions by other methods.",
        released=Released(),
    ),
    Table(
        name="perforation_rate",
        makes=f"{ROOM}.tables:perforation_rate_table",
        caption="Share of sites whose membrane was perforated, by group, with 95% intervals, patients as clusters.",
        released=Released(),
    ),
    Table(
        name="perforation_sequel",
        makes=f"{ROOM}.recorded_tables:sequel_table",
        caption="What followed at perforated sites and at the others.",
        released=Released(),
    ),
    Table(
        name="learning",
        makes=f"{ROOM}.recorded_tables:learning_table",
        caption="Sites perforated, by the operator's case number.",
        released=KeptIn(SINGLE_RECORDS, "perforations by case number"),
    ),
)
PREDICTION_FIGURES = (
    Figure(
        name="risk_shapes",
        draws=f"{ROOM}.risk_figures:draw_risk_shapes",
        reads={
            "curves": "perforation_risk_curves",
            "height": "results:perforation.risk",
            "lift": "results:perforation.risk_lift",
        },
        caption="Risk of a perforation along residual bone height and planned lift. Solid, with its 95% band: "
        "restricted cubic spline, patients as clusters; dashed: the model whose odds ratios are quoted.",
        released=KeptIn(NOT_COARSENED, "the flexible risk curves"),
        has_narrow=True,
    ),
)
PREDICTION_TABLES = (
    Table(
        name="perforation_risk",
        makes=f"{ROOM}.tables:risk_table",
        caption="Modelled risk of a perforation by residual bone height and by planned lift.",
        released=Released(),
    ),
    Table(
        name="risk_differences",
        makes=f"{ROOM}.tables:risk_differences_table",
        caption="Differences in modelled perforations per 100 sites.",
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
    figures=FIGURES,
    tables=TABLES,
)
PREDICTION_CHAPTER = Chapter(
    id="prediction",
    title="Risk along height and lift, prediction",
    blocks=(f"{ROOM}.supplement_chapter:prediction",),
    figures=PREDICTION_FIGURES,
    tables=PREDICTION_TABLES,
)
