"""What happened to the membrane: the quoted shares, odds ratios and risks, the model as a predictor."""

from __future__ import annotations

from liftseries.models.perforation.questions import QUESTIONS
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by, methods_of, way_of
from liftseries.report.kit.numbers import count, decimal, missing, share_of
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, design_effect, estimate
from liftseries.report.kit.tables.listing import listing_table
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.perforation.sentences import HEIGHTS, share_words

ANALYSES = [analysis.name for question in QUESTIONS for analysis in question.analyses]


def perforation_rate_table(material: Material, words: Words) -> Content | None:
    """The share of each subset, patients as clusters."""
    rates = material.rows("perforation.rate")
    quoted = rates[made_by(rates, "patients")]
    rows = [
        (
            words.subset(row["subset"]),
            share_of(row["n_events"], row["n_sites"]),
            count(row["n_patients"]),
            share_words(row) or estimate(row),
            design_effect(material, row),
            trace_of(row),
        )
        for _, row in quoted.iterrows()
    ]
    # What is not quoted is not printed in a list of its own either: results.csv keeps it.
    ours = material.results[material.results["analysis"].isin(ANALYSES)]
    unquoted = ours[~ours.index.isin([*quoted.index, *material.quoted(*ANALYSES).index])]
    return content_of(
        ("Sites", "Perforated", "Patients", "Share (95% interval)", "Design effect", TRACE),
        rows,
        "Sites whose perforation is unknown are left out and counted under what was left out. The design effect is the "
        "variance with patients as clusters over that of as many independent sites; below 0.5 it is an alarm, no gain "
        "in precision. " + methods_of(quoted),
        holds=[trace_of(row) for _, row in unquoted.iterrows()],
    )


def few_cases_table(material: Material, words: Words) -> Content | None:
    """The perforations one by one, where there are too few of them to be compared."""
    cases = material.table("perforation_few_cases")
    rows = [
        (
            "" if missing(case["rbh_mid_mm"]) else decimal(float(case["rbh_mid_mm"]), 1),
            *(
                "not recorded" if missing(case[name]) else str(case[name]).replace("_", " ")
                for name in ("approach", "perforation_stage")
            ),
        )
        for _, case in cases.iterrows()
    ]
    return content_of(("Residual bone height, mm", "Approach", "Noticed while"), rows)


def odds_table(material: Material, words: Words) -> Content | None:
    """The odds ratios that are quoted."""
    rows = material.quoted("perforation.firth", "perforation.gee")
    return listing_table(
        material,
        rows,
        (("Term", lambda row: words.term(row["term"], str(row["note"]))),),
        "Odds ratio (95% interval)",
        f"{methods_of(rows)} The intercept is the odds where every number is 0 and every label at its reference.",
    )


def risk_differences_table(material: Material, words: Words) -> Content | None:
    """Risk differences of the plan's contrasts."""
    rows = material.quoted("perforation.risk_difference")
    labels = (("Contrast", lambda row: words.contrast(row["term"])),)
    return listing_table(material, rows, labels, "More perforations per 100 sites (95% interval)", methods_of(rows))


def risk_table(material: Material, words: Words) -> Content | None:
    """Standardised risks along residual height and planned lift."""
    names = {analysis: f"{words.column(column)}, mm" for column, analysis in HEIGHTS.items()}
    rows = material.quoted(*names)
    labels = (
        ("Along", lambda row: names[row["analysis"]]),
        ("At", lambda row: row["term"]),
    )
    return listing_table(material, rows, labels, "Risk (95% interval)", methods_of(rows))


def nonlinearity_table(material: Material, words: Words) -> Content | None:
    """Whether the risk is non-linear along residual height and planned lift."""
    rows = material.quoted("perforation.nonlinearity")
    labels = (("Along", lambda row: words.column(row["term"])),)
    return listing_table(material, rows, labels, "Odds ratio (95% interval)", methods_of(rows))


VALIDATION = {
    "c_statistic": "Discrimination (c statistic)",
    "calibration_intercept": "Calibration intercept",
    "calibration_slope": "Calibration slope",
}


def validation_table(material: Material, words: Words) -> Content | None:
    """The perforation model as a predictor, where events are enough to judge one."""
    labels = (
        ("", lambda row: VALIDATION.get(row["term"], row["term"])),
        ("Tried on", lambda row: words.subset(row["subset"])),
        ("How", way_of),
    )
    if material.quoted("perforation.validation").empty:
        return None
    return listing_table(
        material,
        material.rows("perforation.validation"),
        labels,
        "Estimate (95% interval)",
        "A c statistic of 0.5 tells no site from another, 1 is perfect. An intercept of 0 and a slope of 1 mean "
        "predictions that are right on average and neither too extreme (slope below 1) nor not extreme enough.",
    )
