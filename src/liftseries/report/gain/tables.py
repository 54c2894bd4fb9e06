"""What bone was gained."""

from __future__ import annotations

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, decimal, missing
from liftseries.report.kit.tables.cells import (
    Content,
    content_of,
)
from liftseries.report.kit.words import Words


def gain_scatter_table(material: Material, words: Words) -> Content | None:
    """How much bone gain differs between patients, sites and measurements."""
    if material.table("gain_variances").empty or not material.table("gain_variances")["n_visits"].iloc[0]:
        return None
    row = material.table("gain_variances").iloc[0]
    names = {
        "patient_sd_mm": "Between patients",
        "site_sd_mm": "Between sites of a patient",
        "residual_sd_mm": "Between measurements of a site",
    }
    rows = [(text, decimal(row[name]) or "not in the model") for name, text in names.items()]
    note = (
        f"From {count(row['n_visits'])} measurements; work/gain_variances.csv." if not missing(row["n_visits"]) else ""
    )
    return content_of(("", "mm"), rows, note)
