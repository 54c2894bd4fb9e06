"""What happened to the membrane: rates."""

from __future__ import annotations

from liftseries.report.material import Material
from liftseries.report.numbers import count, share_of
from liftseries.report.tables.cells import (
    TRACE,
    Display,
    estimate,
    table_of,
)
from liftseries.report.wording import Words, trace

RATE_METHODS = ("cluster", "wilson", "exact")


def perforation_rate_table(material: Material, words: Words) -> Display | None:
    """Every rate with each of its intervals, a subset a row."""
    rows = []
    for subset, table in material.rows("perforation.rate").groupby("subset", sort=False):
        of_method = {row["method"]: row for _, row in table.iterrows()}
        one = table.iloc[0]
        rows.append(
            (
                words.subset(subset),
                share_of(one["n_events"], one["n_sites"]),
                count(one["n_patients"]),
                *(estimate(of_method[method]) if method in of_method else "" for method in RATE_METHODS),
                trace(
                    "perforation.rate",
                    subset,
                    one["term"],
                    " ".join(m for m in RATE_METHODS if m in of_method),
                ),
            )
        )
    return table_of(
        "perforation_rate",
        "Share of sites whose membrane was perforated, with 95% intervals.",
        ("Sites", "Perforated", "Patients", "Clustered by patient", "Wilson", "Exact", TRACE),
        rows,
        "Sites whose perforation is unknown are left out and counted under what was left out. The "
        "clustered estimate weighs sites by how alike those of one patient are, so that it can differ from "
        "the crude share; Wilson and exact take sites as independent.",
    )
