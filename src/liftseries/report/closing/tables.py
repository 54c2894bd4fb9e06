"""What stands behind the estimates: how missing values were filled in, and what the intervals hold in simulations."""

from __future__ import annotations

import csv

from liftseries.base.home import folder
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, percent
from liftseries.report.kit.tables.cells import Display, table_of
from liftseries.report.kit.words import Words

COVERAGE = "coverage.csv"  # in reports/; tests/benchmarks/coverage.py writes it


def imputation_table(material: Material, words: Words) -> Display | None:
    """Which variables were imputed for which model, and from what."""
    rows = [
        (
            outcome,
            words.column(row["variable"]),
            str(row["level_of"]),
            count(row["n_missing"]),
            str(row["model"]),
            ", ".join(words.column(name) for name in str(row["predictors"]).split()),
        )
        for outcome, table in (
            ("Perforation", material.table("perforation_imputation")),
            ("Implant failure", material.table("survival_imputation")),
        )
        for _, row in table.iterrows()
    ]
    return table_of(
        "imputation",
        "How missing terms were imputed: each from the others, in turn.",
        ("For the model of", "Variable", "Once a", "Missing", "Model", "Predictors"),
        rows,
    )


def coverage_table(material: Material) -> Display | None:
    """The share of simulated 95% intervals that hold the truth, ours and those that ignore patients."""
    path = folder("reports") / COVERAGE
    if material.results.empty or not path.is_file():
        return None
    with path.open(encoding="utf-8", newline="") as file:
        found = list(csv.DictReader(file))
    rows = [
        (
            row["design"],
            row["estimator"],
            percent(float(row["not_fitted"])),
            percent(float(row["coverage"])),
            percent(float(row["naive_coverage"])) if row["naive_coverage"] else "",
            percent(float(row["monte_carlo_error"])),
        )
        for row in found
    ]
    return table_of(
        "coverage",
        "How often a 95% interval holds the truth in simulated series, sites clustered in patients.",
        ("Series", "Estimate", "Without an interval", "Holds the truth", "Ignoring patients", "± simulation"),
        rows,
        "Shares are of the simulated series in which there was an interval. Where events are few, perforation.gee and "
        "survival.cox fall short at the level of sites; their method then names the jackknife rows, which hold. "
        "Made by tests/benchmarks/coverage.py of the source.",
    )
