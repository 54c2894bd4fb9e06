"""What happened to the membrane: rates, standardised risks, the model as a predictor."""

from __future__ import annotations

from liftseries.report.kit.material import Material
from liftseries.report.kit.method import bound_on, methods_of, one_sided, way_of
from liftseries.report.kit.numbers import count, missing, percent, share_of
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, design_effect, estimate
from liftseries.report.kit.tables.listing import listing_table
from liftseries.report.kit.words import Words, trace

RATE_METHODS = ("cluster", "wilson", "exact")


def perforation_rate_table(material: Material, words: Words) -> Content | None:
    """Every rate with each of its intervals, a subset a row; one-sided bounds where none or all perforated."""
    rates = material.rows("perforation.rate")
    bounded = one_sided(rates).any()
    rows = []
    for subset, table in rates.groupby("subset", sort=False):
        of_method = {row["method"]: row for _, row in table.iterrows()}
        one = table.iloc[0]
        rows.append(
            (
                words.subset(subset),
                share_of(one["n_events"], one["n_sites"]),
                count(one["n_patients"]),
                *(estimate(of_method[method]) if method in of_method else "" for method in RATE_METHODS),
                *([_bound(of_method)] if bounded else []),
                design_effect(material, one),
                trace("perforation.rate", subset, one["term"], " ".join(of_method)),
            )
        )
    return content_of(
        (
            "Sites",
            "Perforated",
            "Patients",
            "Clustered by patient",
            "Wilson",
            "Exact",
            *(["One-sided bound"] if bounded else []),
            "Design effect",
            TRACE,
        ),
        rows,
        "Sites whose perforation is unknown are left out and counted under what was left out. The "
        "clustered estimate weighs sites by how alike those of one patient are, so that it can differ from "
        "the crude share; Wilson and exact take sites as independent. The design effect is the variance of the "
        "clustered estimate over that of as many independent sites."
        + (
            " Where none or all perforated, the bound holds with 95% on one side, with the patients as the number "
            "that counts; as if sites were independent in brackets."
            if bounded
            else ""
        ),
    )


def _bound(of_method) -> str:
    """`at most 9.5% (sites alone: 4.1%)`."""
    bounds = {bound_on(row): row for row in of_method.values()}
    patients, sites = bounds.get("patients"), bounds.get("sites")
    if patients is None or missing(patients["estimate"]):
        return ""
    side, word = ("conf_high", "at most") if patients["estimate"] == 0 else ("conf_low", "at least")
    alone = f" (sites alone: {percent(sites[side])})" if sites is not None else ""
    return f"{word} {percent(patients[side])}{alone}"


def risk_differences_table(material: Material, words: Words) -> Content | None:
    """Risk differences of the plan's contrasts."""
    rows = material.rows("perforation.risk_difference")
    labels = (("Contrast", lambda row: words.contrast(row["term"])),)
    return listing_table(
        material,
        rows,
        labels,
        "More perforations per 100 sites (95% interval)",
        methods_of(rows),
    )


def risk_table(material: Material, words: Words) -> Content | None:
    """Standardised risks along residual height and planned lift, and by band as the secondary version."""
    names = {
        "perforation.risk": "Residual bone height, mm",
        "perforation.risk_lift": "Planned lift, mm",
        "perforation.risk_band": "Residual bone height by band",
    }
    rows = material.results[material.results["analysis"].isin(names)]
    labels = (
        ("Along", lambda row: names[row["analysis"]]),
        ("At", lambda row: row["term"] if row["subset"] == "all" else row["subset"].partition("=")[2]),
    )
    return listing_table(
        material,
        rows,
        labels,
        "Risk (95% interval)",
        methods_of(rows),
    )


def nonlinearity_table(material: Material, words: Words) -> Content | None:
    """Whether the risk bends along residual height and planned lift."""
    rows = material.rows("perforation.nonlinearity")
    labels = (("Along", lambda row: words.column(row["term"])),)
    return listing_table(
        material,
        rows,
        labels,
        "Odds ratio (95% interval)",
        methods_of(rows),
    )


VALIDATION = {
    "c_statistic": "Discrimination (c statistic)",
    "calibration_intercept": "Calibration intercept",
    "calibration_slope": "Calibration slope",
}


def validation_table(material: Material, words: Words) -> Content | None:
    """The perforation model as a predictor."""
    labels = (
        ("", lambda row: VALIDATION.get(row["term"], row["term"])),
        ("Tried on", lambda row: words.subset(row["subset"])),
        ("How", way_of),
    )
    return listing_table(
        material,
        material.rows("perforation.validation"),
        labels,
        "Estimate (95% interval)",
        "A c statistic of 0.5 is a coin's, 1 is perfect. An intercept of 0 and a slope of 1 mean predictions that are "
        "right on average and neither too bold (slope below 1) nor too timid.",
    )
