"""How the implants fared."""

from __future__ import annotations

from liftseries.report.material import Material
from liftseries.report.numbers import count, decimal, percent, share_of
from liftseries.report.tables.cells import (
    TRACE,
    Display,
    estimate,
    methods_of,
    numbers,
    table_of,
    trace_of,
)
from liftseries.report.wording import Words


def survival_table(material: Material, words: Words) -> Display | None:
    """Kaplan-Meier survival at the plan's months."""
    rows = [
        (_implants(row["subset"], words), row["term"], estimate(row), *numbers(row, True), trace_of(row))
        for _, row in material.rows("survival.km").iterrows()
    ]
    return table_of(
        "survival",
        "Implant survival (Kaplan-Meier) at the months of the plan.",
        (
            "Implants",
            "Month",
            "% in function (95% interval)",
            "Implants followed",
            "Patients",
            "Failures in all",
            TRACE,
        ),
        rows,
        methods_of(material.rows("survival.km")),
    )


def _implants(subset: str, words: Words) -> str:
    return "All implants" if subset == "all" else words.subset(subset)


def numbers_at_risk_table(material: Material, words: Words) -> Display | None:
    """At risk, failed and censored, a month a row and a subset a column."""
    table = material.at_risk
    if table.empty:
        return None
    subsets = list(dict.fromkeys(table["subset"]))
    cells = {
        (r.months, r.subset): f"{count(r.n_at_risk)} / {count(r.n_failed)} / {count(r.n_censored)}"
        for r in table.itertuples(index=False)
    }
    rows = [
        (f"{month:g}", *(cells.get((month, subset), "") for subset in subsets))
        for month in sorted(set(table["months"]))
    ]
    return table_of(
        "numbers_at_risk",
        "Implants at risk just before each month / failed before it / censored before it.",
        ("Month", *(_implants(subset, words) for subset in subsets)),
        rows,
    )


def life_table_table(material: Material) -> Display | None:
    """The yearly actuarial life table."""
    estimates = {float(row["term"]): row for _, row in material.rows("survival.life_table").iterrows()}
    rows = []
    for _, year in material.life_table.iterrows():
        row = estimates.pop(float(year["start_months"]), None)
        rows.append(
            (
                f"{year['start_months']:g} to <{year['end_months']:g}",
                count(year["n_entering"]),
                count(year["n_censored"]),
                count(year["n_failed"]),
                decimal(year["n_effective"], 1),
                percent(year["risk"]),
                estimate(row) if row is not None else percent(year["survival"]),
                trace_of(row) if row is not None else "",
            )
        )
    rows += [(f"from {month:g}", "", "", "", "", "", estimate(row), trace_of(row)) for month, row in estimates.items()]
    return table_of(
        "life_table",
        "Yearly actuarial life table of the implants.",
        (
            "Months",
            "Entering",
            "Censored",
            "Failed",
            "Effective",
            "Risk in it",
            "% in function at its start (95% interval)",
            TRACE,
        ),
        rows,
        "An implant censored within a year counts as at "
        "risk for half of it. " + methods_of(material.rows("survival.life_table")),
    )


def complications_table(material: Material) -> Display | None:
    """Sites that ever had a complication, by kind."""
    if material.complications.empty or not material.complications["n_asked"].max():
        return None
    rows = [
        (
            str(row["complication"]).capitalize(),
            share_of(row["n_sites"], row["n_asked"]),
            count(row["n_patients"]),
        )
        for _, row in material.complications.iterrows()
    ]
    return table_of(
        "complications",
        "Sites that ever had a complication, of the sites with one or none recorded at any visit.",
        ("Complication", "Sites", "Patients"),
        rows,
    )
