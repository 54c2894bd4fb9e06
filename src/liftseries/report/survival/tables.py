"""How the implants fared."""

from __future__ import annotations

from collections.abc import Sequence

from liftseries.base.remarks import names_in
from liftseries.models.survival.questions import QUESTIONS
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by, methods_of
from liftseries.report.kit.numbers import NOT_ESTIMATED, WITHHELD, count, decimal, missing
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate
from liftseries.report.kit.tables.listing import listing_table
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.survival.sentences import MODELS, may_be_set_side_by_side, share_words

ANALYSES = [
    analysis.name for question in QUESTIONS for analysis in question.analyses if analysis.name.startswith("survival.")
]


def survival_table(material: Material, words: Words) -> Content | None:
    """Quoted survival: a subset a row, a month a column."""
    km = material.rows("survival.km")
    km = km[made_by(km, "corrected")]
    months = list(dict.fromkeys(km["term"]))
    few = not may_be_set_side_by_side(material)
    rows = []
    for subset, of_subset in km.groupby("subset", sort=False):
        if subset != "all" and few:
            continue
        of_month = {row["term"]: row for _, row in of_subset.iterrows()}
        one = of_subset.iloc[0]
        rows.append(
            (
                _implants(subset, words),
                count(one["n_sites"]),
                count(one["n_patients"]),
                count(one["n_events"]),
                *(_quoted(of_month[month]) if month in of_month else "" for month in months),
                "; ".join(trace_of(row) for row in of_month.values()),
            )
        )
    # What no table of this chapter shows is not printed in a list of its own either: results.csv keeps it.
    ours = material.results[material.results["analysis"].isin(ANALYSES)]
    return content_of(
        ("Implants", "Followed", "Patients", "Failed", *(f"Month {month}, %" for month in months), TRACE),
        rows,
        "In function, with 95% intervals. " + methods_of(quoted_in(km)),
        [trace_of(row) for _, row in ours.iterrows()],
    )


def _quoted(row) -> str:
    """Survival at a month, or why none is given."""
    if row["problem"] == WITHHELD:
        return WITHHELD
    if row["headline"] and not missing(row["estimate"]):
        return share_words(row) or estimate(row)
    if "below_gate_at_risk" in names_in(row["note"]) and not missing(row["estimate"]):
        return "too few at risk"
    return f"{NOT_ESTIMATED}: {row['problem']}" if row["problem"] else NOT_ESTIMATED


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


def failed_implants_table(material: Material, words: Words) -> Content | None:
    """The failed implants one by one, where there are too few of them for a ratio."""
    rows = [
        (
            decimal(failed["months"], 0),
            "not recorded" if missing(failed["rbh_mid_mm"]) else decimal(failed["rbh_mid_mm"], 1),
            "not recorded" if missing(failed["smoking"]) else str(failed["smoking"]),
        )
        for _, failed in material.table("failed_implants").iterrows()
    ]
    return content_of(("Month found", "Residual bone height, mm", "Smoking"), rows)


def hazard_ratios_table(material: Material, words: Words) -> Content | None:
    """The hazard ratios that are quoted."""
    return _ratios(material, words, MODELS)


def gain_table(material: Material, words: Words) -> Content | None:
    """The quoted hazard ratios of the landmark model."""
    return _ratios(material, words, ["survival.gain"])


def _ratios(material: Material, words: Words, analyses: Sequence[str]) -> Content | None:
    rows = material.quoted(*analyses)
    labels = (("Term", lambda row: words.term(row["term"], str(row["note"]))),)
    return listing_table(material, rows, labels, "Hazard ratio (95% interval)", methods_of(rows))


def proportional_hazards_table(material: Material, words: Words) -> Content | None:
    """Whether hazard ratios stay the same over time, patients as clusters."""
    rows = material.quoted("survival.ph")
    labels = (
        ("Term", lambda row: "All terms" if row["term"] == "GLOBAL" else words.column(row["term"])),
        ("Degrees of freedom", lambda row: "" if missing(row["df"]) else f"{row['df']:g}"),
    )
    return listing_table(
        material,
        rows,
        labels,
        "χ²",
        "A small p says that a ratio changes over time; the figure shows how.",
    )
