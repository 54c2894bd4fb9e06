"""How often the membrane tore: its figures, tables and chapter as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import NOT_COARSENED, Chapter, Figure, KeptIn, Released, Table
from liftseries.report.perforation.recorded_declarations import RECORDED_FIGURES, RECORDED_TABLES

ROOM = "liftseries.report.perforation"
# Ways to estimate the same terms: heading, analysis, what its method begins with.
ODDS_WAYS = (
    ("Clustered (GEE)", "perforation.gee", ""),
    ("Penalised, profile interval", "perforation.firth", "profile"),
    ("Penalised, patient jackknife", "perforation.firth", "jackknife"),
    ("Missing terms imputed", "perforation.imputed", ""),
)

FIGURES = (
    Figure(
        name="perforation_by_height",
        draws=f"{ROOM}.figures:draw_perforation_by_height",
        reads={"rates": "results:perforation.rate"},
        caption=(
            "Share of sites whose membrane was perforated, with 95% intervals that take sites as clustered in patients."
        ),
        released=Released(),
    ),
    Figure(
        name="perforation_odds",
        draws=f"{ROOM}.figures:draw_perforation_odds",
        reads={"gee": "results:perforation.gee", "words": "words"},
        caption="Odds ratios of a perforation with 95% intervals, each term held against the others.",
        released=Released(),
    ),
    Figure(
        name="risk_curves",
        draws=f"{ROOM}.figures:draw_risk_curves",
        reads={"curves": "perforation_risk_curves"},
        caption=(
            "Standardised risk of a perforation along residual bone height and planned lift, with patient-clustered "
            "95% bands: what the mean risk would be if every site had that height or lift. Bars below: how many sites "
            "were near it."
        ),
        released=KeptIn(NOT_COARSENED, "the risk curves with the number of sites below them"),
    ),
)
TABLES = (
    Table(
        name="perforation_rate",
        makes=f"{ROOM}.tables:perforation_rate_table",
        caption="Share of sites whose membrane was perforated, with 95% intervals.",
        released=Released(),
    ),
    Table(
        name="perforation_odds",
        makes="liftseries.report.kit.tables.terms:terms_table",
        caption="Odds ratios of a perforation, sites clustered in patients.",
        released=Released(),
        options={"analysis": "perforation.gee"},
    ),
    Table(
        name="perforation_ways",
        makes="liftseries.report.kit.tables.terms:side_by_side_table",
        caption="Ratios of a perforation (odds), each term estimated in several ways.",
        released=Released(),
        options={"ways": ODDS_WAYS},
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
        caption="Standardised risk of a perforation: as if every site had the height, the lift or the band named.",
        released=Released(),
    ),
    Table(
        name="perforation_nonlinearity",
        makes=f"{ROOM}.tables:nonlinearity_table",
        caption="The bend of the risk: the spline's non-linear term, as an odds ratio.",
        released=Released(),
    ),
    Table(
        name="perforation_validation",
        makes=f"{ROOM}.tables:validation_table",
        caption="The perforation model as a predictor.",
        released=Released(),
    ),
)
CHAPTER = Chapter(
    id="membrane",
    title="What happened to the membrane",
    blocks=f"{ROOM}.chapter:blocks",
    figures=(*FIGURES, *RECORDED_FIGURES),
    tables=(*TABLES, *RECORDED_TABLES),
)
