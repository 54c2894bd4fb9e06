"""What stands behind the estimates: sites left out, missing values filled in, intervals tried in simulations."""

from __future__ import annotations

import csv

from liftseries.base.home import folder
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, percent
from liftseries.report.kit.tables.cells import Content, content_of
from liftseries.report.kit.words import BANDS, Words

COVERAGE = "coverage.csv"  # in reports/; tests/benchmarks/coverage.py writes it


def left_out_table(material: Material, words: Words) -> Content | None:
    """Sites that an analysis left out, and why."""
    rows = [
        (
            row["analysis"],
            _group(row["subset"], words),
            words.reason(str(row["reason"])),
            count(row["n_sites"]),
        )
        for _, row in material.left_out.iterrows()
    ]
    return content_of(
        ("Analysis", "Subset", "Reason", "Sites"),
        rows,
    )


def _group(subset: str, words: Words) -> str:
    if subset == "all":
        return "All"
    return words.subset(subset) if "=" in subset else f"by {BANDS.get(subset, words.column(subset)).lower()}"


def imputation_table(material: Material, words: Words) -> Content | None:
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
    return content_of(
        ("For the model of", "Variable", "Once a", "Missing", "Model", "Predictors"),
        rows,
    )


def coverage_table(material: Material, words: Words) -> Content | None:
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
    return content_of(
        ("Series", "Estimate", "Without an interval", "Holds the truth", "Ignoring patients", "± simulation"),
        rows,
        "Shares are of the simulated series in which there was an interval. Where events are few, perforation.gee and "
        "survival.cox fall short at the level of sites; the report then quotes the penalised rows, which hold. "
        "Made by tests/benchmarks/coverage.py of the source.",
    )
