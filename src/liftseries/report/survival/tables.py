"""How the implants fared."""

from __future__ import annotations

from liftseries.report.kit.material import Material
from liftseries.report.kit.method import bound_on, methods_of, one_sided, way_of
from liftseries.report.kit.numbers import count, decimal, missing, percent
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, design_effect, estimate, numbers
from liftseries.report.kit.tables.listing import listing_table
from liftseries.report.kit.words import Words, trace_of


def survival_table(material: Material, words: Words) -> Content | None:
    """Kaplan-Meier survival at the plan's months."""
    rows = [
        (
            _implants(row["subset"], words),
            row["term"],
            f"at least {percent(row['conf_low'])} ({_one_sided(row)})" if _one_sided(row) else estimate(row),
            "" if _one_sided(row) else design_effect(material, row),
            *numbers(row, True),
            trace_of(row),
        )
        for _, row in material.rows("survival.km").iterrows()
    ]
    return content_of(
        (
            "Implants",
            "Month",
            "% in function (95% interval)",
            "Design effect",
            "Implants followed",
            "Patients",
            "Failures in all",
            TRACE,
        ),
        rows,
        methods_of(material.rows("survival.km")),
    )


def _one_sided(row) -> str:
    """What a one-sided bound counts; nothing for any other row, or where there is no bound."""
    named = {"patients": "one-sided, by patients", "sites": "one-sided, by implants"}
    return "" if missing(row["conf_low"]) else named.get(bound_on(row), "")


def _implants(subset: str, words: Words) -> str:
    return "All implants" if subset == "all" else words.subset(subset)


def numbers_at_risk_table(material: Material, words: Words) -> Content | None:
    """At risk, failed and censored, a month a row and a subset a column."""
    table = material.table("survival_at_risk")
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
    return content_of(
        ("Month", *(_implants(subset, words) for subset in subsets)),
        rows,
    )


def life_table_table(material: Material, words: Words) -> Content | None:
    """The yearly actuarial life table."""
    estimates = {float(row["term"]): row for _, row in material.rows("survival.life_table").iterrows()}
    rows = []
    for _, year in material.table("life_table").iterrows():
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
    return content_of(
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


WAYS = (
    ("Failure dated at its visit", "survival.km"),
    ("Failure between two visits, no model", "survival.turnbull"),
    ("Failure between two visits, Weibull", "survival.interval_curve"),
    ("No implant of the patient failed", "survival.patient"),
)


def survival_by_way_table(material: Material, words: Words) -> Content | None:
    """Survival at the plan's months in several ways, and failures with death competing."""
    columns = [_of_all(material, analysis) for _, analysis in WAYS]
    competing = _of_all(material, "survival.competing")
    rows: list[tuple[str, ...]] = []
    holds: list[str] = []
    for month in dict.fromkeys(term for column in (*columns, competing) for term in column):
        found = [column.get(month) for column in (*columns, competing)]
        holds += [trace_of(row) for row in found if row is not None]
        rows.append((month, *(estimate(row) if row is not None else "" for row in found)))
    names = ", ".join([*(analysis for _, analysis in WAYS), "survival.competing"])
    return content_of(
        ("Month", *(heading for heading, _ in WAYS), "Failed, death competing"),
        rows,
        f"Rows of results.csv, in the columns' order: {names}, subset all, term the month. The first column is the "
        "report's; the others show what its choices are worth. With death competing, an implant whose patient died "
        "can no longer fail.",
        holds,
    )


def _of_all(material: Material, analysis: str) -> dict:
    rows = material.rows(analysis, "all")
    rows = rows[~one_sided(rows)]
    return {row["term"]: row for _, row in rows.iterrows()}


def competing_table(material: Material, words: Words) -> Content | None:
    """Failures with death competing, by subset."""
    labels = (
        ("Implants", lambda row: _implants(row["subset"], words)),
        ("Month", lambda row: row["term"]),
    )
    rows = material.rows("survival.competing")
    return listing_table(
        material,
        rows,
        labels,
        "% failed (95% interval)",
        methods_of(rows),
    )


def rmst_table(material: Material, words: Words) -> Content | None:
    """Mean months in function up to a horizon, and their differences."""
    rows = material.results[material.results["analysis"].isin(["survival.rmst", "survival.rmst_difference"])]
    kinds = {"survival.rmst": "Mean", "survival.rmst_difference": "Difference"}
    labels = (
        ("", lambda row: kinds[row["analysis"]]),
        ("Implants", lambda row: _implants(row["subset"], words)),
        ("Up to month", lambda row: row["term"]),
    )
    return listing_table(
        material,
        rows,
        labels,
        "Months (95% interval)",
        methods_of(rows),
    )


def proportional_hazards_table(material: Material, words: Words) -> Content | None:
    """Whether hazard ratios stay the same over time."""
    rows = material.rows("survival.ph")
    labels = (
        ("Term", lambda row: "All terms" if row["term"] == "GLOBAL" else words.column(row["term"])),
        ("How", way_of),
        ("Degrees of freedom", lambda row: "" if missing(row["df"]) else f"{row['df']:g}"),
    )
    return listing_table(
        material,
        rows,
        labels,
        "χ²",
        "A small p says that a ratio changes over time; the figure shows how.",
    )
