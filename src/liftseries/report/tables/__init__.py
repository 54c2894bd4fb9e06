"""Estimates and counts as tables for reading: rounded, in words, and traceable to results.csv.

Each table is written as CSV and DOCX. Whatever results.csv holds stands in one of them, its row named in the
last column; what could not be estimated stands there with its problem.
"""

from __future__ import annotations

from liftseries.report.material import Material
from liftseries.report.tables.bone import gain_scatter_table
from liftseries.report.tables.cells import TRACE, Display
from liftseries.report.tables.depth import agreement_table, deviations_table
from liftseries.report.tables.implants import (
    complications_table,
    life_table_table,
    numbers_at_risk_table,
    survival_table,
)
from liftseries.report.tables.membrane import perforation_rate_table
from liftseries.report.tables.others import other_estimates_table
from liftseries.report.tables.series import (
    characteristics_table,
    flow_table,
    left_out_table,
    missing_table,
    set_aside_table,
)
from liftseries.report.tables.terms import terms_table
from liftseries.report.wording import Words

__all__ = ["TRACE", "Display", "displays"]


def displays(material: Material) -> dict[str, Display]:
    """Every table of the report that has rows, by name, in reading order."""
    words = Words(material.plan.get("extra_columns") or {})
    made = [
        flow_table(material),
        set_aside_table(material),
        characteristics_table(material, words),
        missing_table(material, words),
        deviations_table(material),
        agreement_table(material),
        perforation_rate_table(material, words),
        terms_table(
            material,
            words,
            "perforation.gee",
            "perforation_odds",
            "Odds ratios of a perforation, sites clustered in patients.",
        ),
        survival_table(material, words),
        numbers_at_risk_table(material, words),
        life_table_table(material),
        terms_table(
            material,
            words,
            "survival.cox",
            "hazard_ratios",
            "Hazard ratios of implant failure, implants clustered in patients.",
        ),
        complications_table(material),
        terms_table(material, words, "gain.mixed", "gain_terms", "Differences in bone gain, mm, by term."),
        gain_scatter_table(material),
        other_estimates_table(material, words),
        left_out_table(material, words),
    ]
    return {table.name: table for table in made if table is not None}
