"""Estimates and counts as tables for reading: rounded, in words, and traceable to results.csv.

Each table is written as CSV and DOCX. Whatever results.csv holds stands in one of them, its row named in the
last column; what could not be estimated stands there with its problem.
"""

from __future__ import annotations

from liftseries.report.closing.tables import coverage_table, imputation_table
from liftseries.report.depth.tables import agreement_table, deviations_table
from liftseries.report.gain.tables import gain_scatter_table
from liftseries.report.kit.material import Material
from liftseries.report.kit.tables.cells import TRACE, Display, traced
from liftseries.report.kit.tables.listing import other_estimates_table
from liftseries.report.kit.tables.terms import side_by_side_table, terms_table
from liftseries.report.kit.words import Words
from liftseries.report.perforation.tables import (
    nonlinearity_table,
    perforation_rate_table,
    risk_differences_table,
    risk_table,
    validation_table,
)
from liftseries.report.sensitivity.tables import (
    detection_contrast_table,
    detection_table,
    evalue_table,
    icc_table,
    lost_table,
)
from liftseries.report.series.tables import (
    characteristics_table,
    flow_table,
    left_out_table,
    missing_table,
    set_aside_table,
)
from liftseries.report.survival.tables import (
    competing_table,
    complications_table,
    life_table_table,
    numbers_at_risk_table,
    proportional_hazards_table,
    rmst_table,
    survival_by_way_table,
    survival_table,
)

__all__ = ["TRACE", "Display", "displays"]


ODDS_WAYS = (
    ("Clustered (GEE)", "perforation.gee", ""),
    ("Penalised, profile interval", "perforation.firth", "profile"),
    ("Penalised, patient jackknife", "perforation.firth", "jackknife"),
    ("Missing terms imputed", "perforation.imputed", ""),
)
HAZARD_WAYS = (
    ("Clustered (Cox)", "survival.cox", ""),
    ("Penalised, profile interval", "survival.firth_cox", "profile"),
    ("Penalised, patient jackknife", "survival.firth_cox", "jackknife"),
    ("Missing terms imputed", "survival.imputed", ""),
)


def displays(material: Material) -> dict[str, Display]:
    """Every table of the report that has rows, by name, in reading order."""
    words = Words(material.plan.get("extra_columns") or {})

    def terms(analysis: str, name: str, caption: str) -> Display | None:
        return terms_table(material, words, analysis, name, caption)

    def ways(name: str, outcome: str, named) -> Display | None:
        caption = f"Ratios of {outcome}, each term estimated in several ways."
        return side_by_side_table(material, words, name, caption, named)

    made = [
        flow_table(material),
        set_aside_table(material),
        characteristics_table(material, words),
        missing_table(material, words),
        deviations_table(material),
        agreement_table(material),
        terms("depth.proportional_bias", "proportional_bias", "Error of the last depth along the planned depth, mm."),
        perforation_rate_table(material, words),
        terms("perforation.gee", "perforation_odds", "Odds ratios of a perforation, sites clustered in patients."),
        ways("perforation_ways", "a perforation (odds)", ODDS_WAYS),
        risk_differences_table(material, words),
        risk_table(material, words),
        nonlinearity_table(material, words),
        validation_table(material, words),
        survival_table(material, words),
        numbers_at_risk_table(material, words),
        survival_by_way_table(material, words),
        life_table_table(material),
        terms("survival.cox", "hazard_ratios", "Hazard ratios of implant failure, implants clustered in patients."),
        ways("hazard_ways", "implant failure (hazards)", HAZARD_WAYS),
        proportional_hazards_table(material, words),
        terms("survival.interval", "failure_times", "Weibull model of the log time to a failure between visits."),
        competing_table(material, words),
        rmst_table(material, words),
        terms("survival.gain", "gain_and_failure", "Hazard ratios of failure after the landmark, bone gain by then."),
        complications_table(material),
        terms("gain.mixed", "gain_terms", "Differences in bone gain, mm, by term."),
        gain_scatter_table(material),
        icc_table(material, words),
        evalue_table(material, words),
        detection_table(material, words),
        detection_contrast_table(material, words),
        lost_table(material, words),
        left_out_table(material, words),
        imputation_table(material, words),
        coverage_table(material),
    ]
    tables = [table for table in made if table is not None]
    covered = set().union(*(traced(table) for table in tables))
    others = other_estimates_table(material, words, covered)
    return {table.name: table for table in [*tables, *([others] if others else [])]}
