"""Estimates that no other table holds."""

from __future__ import annotations

from liftseries.report.material import Material
from liftseries.report.numbers import p_value
from liftseries.report.tables.cells import (
    TRACE,
    Display,
    estimate,
    numbers,
    table_of,
    trace_of,
)
from liftseries.report.wording import Words

COVERED = (
    "perforation.rate",
    "perforation.gee",
    "survival.km",
    "survival.life_table",
    "survival.cox",
    "gain.mixed",
    "depth.agreement",
)


def other_estimates_table(material: Material, words: Words) -> Display | None:
    """Analyses that have no table of their own, on the model's scale."""
    others = material.results[~material.results["analysis"].isin(COVERED)]
    rows = [
        (
            row["analysis"],
            words.subset(row["subset"]),
            words.term(row["term"], str(row["method"])),
            estimate(row),
            p_value(row["p_value"]),
            *numbers(row, True),
            trace_of(row),
        )
        for _, row in others.iterrows()
    ]
    heads = (
        "Analysis",
        "Subset",
        "Term",
        "Estimate (95% interval)",
        "p",
        "Sites",
        "Patients",
        "Events",
        TRACE,
    )
    return table_of("other_estimates", "Other estimates.", heads, rows)
