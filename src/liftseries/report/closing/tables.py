"""What stands behind the estimates: sites left out, missing values filled in."""

from __future__ import annotations

import pandas as pd

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count
from liftseries.report.kit.tables.cells import Content, content_of
from liftseries.report.kit.words import BANDS, Words


def left_out_table(material: Material, words: Words) -> Content | None:
    """Sites that an analysis left out, and why; none of an analysis that had no site at all."""
    used = pd.to_numeric(material.results["n_sites"]).fillna(0).groupby(material.results["analysis"]).max()
    nowhere = set(used[used.eq(0)].index)
    rows = [
        (
            row["analysis"],
            _group(row["subset"], words),
            words.reason(str(row["reason"])),
            count(row["n_sites"]),
        )
        for _, row in material.left_out.iterrows()
        if row["analysis"] not in nowhere
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
