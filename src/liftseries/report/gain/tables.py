"""What bone was gained: differences, marginal bone at the plan's months, stability, scatter, other methods."""

from __future__ import annotations

import pandas as pd

from liftseries.report.gain.quoted import OUTCOMES, is_difference, named
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by, methods_of
from liftseries.report.kit.numbers import (
    NOT_ESTIMATED,
    WITHHELD,
    count,
    decimal,
    interval,
    missing,
    percent,
)
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate, numbers
from liftseries.report.kit.tables.listing import listing_table
from liftseries.report.kit.words import Words, trace_of


def bone_terms_table(material: Material, words: Words) -> Content | None:
    """Differences in bone gain and in marginal bone by term, and their change per year."""
    models = material.results[material.results["analysis"].isin(OUTCOMES)]
    rows = models[made_by(models, "corrected") & is_difference(models["term"])]
    labels = (
        ("Outcome", lambda row: OUTCOMES[row["analysis"]]),
        ("Term", lambda row: named(row, words)),
    )
    return listing_table(material, rows, labels, "mm (95% interval)", methods_of(rows))


def bone_at_months_table(material: Material, words: Words) -> Content | None:
    """Mean gain at 12 months; mean marginal bone level, and share beyond 2 mm, at each month of the plan."""
    rows = material.results[material.results["analysis"].isin(OUTCOMES) & ~material.results["method"].eq("reml")]
    rows = rows[rows["term"].str.contains(" at ", regex=False)]
    printed = [
        (OUTCOMES[row["analysis"]], named(row, words), _quoted_cell(row), *numbers(row), trace_of(row))
        for _, row in rows.iterrows()
    ]
    note = (
        "Over the sites with a measurement within three months of the month, each by its nearest one, with patients as "
        "clusters."
    )
    return content_of(("Outcome", "", "mm, or share (95% interval)", "Sites", "Patients", TRACE), printed, note)


def _quoted_cell(row) -> str:
    """The estimate with its interval, a bound in words; of fewer than five measurements that they are too few."""
    if missing(row["estimate"]):
        return estimate(row)
    if not row["headline"]:
        return "fewer than 5 measurements"
    if row["scale"] == "risk" and missing(row["std_error"]) and row["estimate"] in (0, 1):
        return bound(row)
    return estimate(row)


def bound(row) -> str:
    """`0.0%, at most 9.5%`, of a share without an event, or of nothing but events."""
    none = row["estimate"] == 0
    return f"{percent(row['estimate'])}, at {'most' if none else 'least'} " + percent(
        row["conf_high" if none else "conf_low"]
    )


STABILITY = {"stability.torque": "Insertion torque, N cm", "stability.isq": "Stability quotient (ISQ)"}


def stability_table(material: Material, words: Words) -> Content | None:
    """Insertion torque and ISQ by bone quality and residual height."""
    rows = material.results[material.results["analysis"].isin(STABILITY)]
    if not pd.to_numeric(rows["n_sites"]).fillna(0).ne(0).any():
        return None
    printed = []
    for subset, of_subset in rows.groupby("subset", sort=False):
        cells = []
        for analysis in STABILITY:
            of_analysis = of_subset[of_subset["analysis"].eq(analysis)]
            cells += _described({row["term"]: row for _, row in of_analysis.iterrows()})
        printed.append((words.subset(str(subset)), *cells))
    heads = ("Sites",)
    for title in STABILITY.values():
        heads += (title, "mean (95% interval), SD", "median [quartiles]")
    holds = [trace_of(row) for _, row in rows.iterrows()]
    note = (
        "Sites with an implant whose value was recorded; means with patients as clusters. Fewer than five measurements "
        "are counted and not described. Rows of results.csv: stability.torque, stability.isq."
    )
    return content_of(heads, printed, note, holds)


def _described(of_term: dict) -> tuple[str, str, str]:
    """Number measured, mean with interval and SD, median with quartiles."""
    if not of_term:
        return "", "", ""
    mean, median = of_term["mean"], of_term["median"]
    n = f"n = {count(mean['n_sites'])}"
    if mean["n_sites"] == 0 or not median["headline"]:
        return n, "", ""
    return n, _mean(mean, of_term["sd"]), _median(median, of_term["q1"], of_term["q3"])


def _mean(mean, sd) -> str:
    if missing(mean["estimate"]):
        return WITHHELD if mean["problem"] == WITHHELD else NOT_ESTIMATED
    text = interval(mean["estimate"], mean["conf_low"], mean["conf_high"], _one_decimal)
    return text + ("" if missing(sd["estimate"]) else f", SD {_one_decimal(sd['estimate'])}")


def _median(median, q1, q3) -> str:
    if missing(median["estimate"]):
        return WITHHELD
    known = not (missing(q1["estimate"]) or missing(q3["estimate"]))
    quartiles = f" [{_one_decimal(q1['estimate'])} to {_one_decimal(q3['estimate'])}]" if known else ""
    return _one_decimal(median["estimate"]) + quartiles


def _one_decimal(value: float) -> str:
    return decimal(value, 1)


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


def bone_methods_table(material: Material, words: Words) -> Content | None:
    """The same questions by other methods: the terms with the model's own error beside the report's."""
    models = material.results[material.results["analysis"].isin(OUTCOMES)]
    own = {(row["analysis"], row["term"]): row for _, row in models[made_by(models, "corrected")].iterrows()}
    printed = []
    holds = []
    for (analysis, term), row in own.items():
        beside = models[made_by(models, "reml") & models["analysis"].eq(analysis) & models["term"].eq(term)].iloc[0]
        holds += [trace_of(row), trace_of(beside)]
        if term != "months":  # the change per year says it
            printed.append((OUTCOMES[analysis], named(row, words), estimate(row), estimate(beside)))
    heads = ("Outcome", "Term", "The report's, mm (95% interval)", "With the model's own error, mm")
    note = (
        "Rows of results.csv: gain.mixed and bone.marginal, methods corrected and reml. The change per year is twelve "
        "times the row months."
    )
    return content_of(heads, printed, note, holds)
