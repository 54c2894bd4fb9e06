"""What happened to the membrane: shares by group, few cases, risks and their differences, the model as a predictor."""

from __future__ import annotations

from itertools import zip_longest

from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by
from liftseries.report.kit.numbers import count, decimal, missing, p_value, share_of
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, design_effect, estimate
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.languages.say import say
from liftseries.report.perforation.sentences import HEIGHTS, may_be_compared, share_row, share_words


def perforation_rate_table(material: Material, words: Words) -> Content | None:
    """The share of each group, patients as clusters; None where there are too few perforations to compare groups."""
    if not may_be_compared(share_row(material)):
        return None
    rates = material.rows("perforation.rate")
    rows = [
        (
            words.subset(row["subset"]),
            share_of(row["n_events"], row["n_sites"]),
            count(row["n_patients"]),
            share_words(row) or estimate(row),
            design_effect(material, row),
            trace_of(row),
        )
        for _, row in rates[made_by(rates, "patients")].iterrows()
    ]
    heads = ("Sites", "Perforated", "Patients", "Share (95% interval)", "Design effect", TRACE)
    return content_of(heads, rows, say("perforation.rate_note"))


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
    heads = ("Residual bone height, mm", "Approach", "Noticed while")
    return content_of(heads, rows, say("perforation.few_note"))


def risk_table(material: Material, words: Words) -> Content | None:
    """Quoted risks at whole mm of residual height and of planned lift, side by side."""
    heads, columns = [], []
    for column, analysis in HEIGHTS.items():
        rows = material.quoted(analysis)
        whole = [row for _, row in rows.iterrows() if float(row["term"]).is_integer()]
        if whole:
            heads += [f"{words.column(column)}, mm", "Risk (95% interval)"]
            columns.append([(str(row["term"]), estimate(row), trace_of(row)) for row in whole])
    lines = []
    for cells in zip_longest(*columns, fillvalue=("", "", "")):
        keys = "; ".join(key for _, _, key in cells if key)
        lines.append((*(text for mm, risk, _ in cells for text in (mm, risk)), keys))
    return content_of((*heads, TRACE), lines, say("perforation.risk_note"))


def risk_differences_table(material: Material, words: Words) -> Content | None:
    """Risk differences of the plan's contrasts."""
    rows = material.quoted("perforation.risk_difference")
    lines = [
        (
            words.contrast(row["term"]),
            estimate(row),
            p_value(row["p_value"]),
            *(count(row[name]) for name in ("n_events", "n_sites", "n_patients")),
            trace_of(row),
        )
        for _, row in rows.iterrows()
    ]
    heads = ("Contrast", "Per 100 sites (95% interval)", "p", "Events", "Sites", "Patients", TRACE)
    return content_of(heads, lines, say("perforation.difference_note"))


STATISTICS = {
    "c_statistic": "c statistic",
    "calibration_intercept": "Calibration intercept",
    "calibration_slope": "Calibration slope",
}
TRIED = {
    "apparent": "On the series itself",
    "optimism_corrected": "Corrected for optimism",
    "leave_one_centre_out": "Each centre by a model without it",
}


def validation_table(material: Material, words: Words) -> Content | None:
    """The perforation model as a predictor, where perforations are enough to judge one."""
    if material.quoted("perforation.validation").empty:
        return None
    rows = material.rows("perforation.validation", "all")
    rows = rows[rows["estimate"].notna()]
    tried = {method: title for method, title in TRIED.items() if rows["method"].eq(method).any()}
    lines = []
    for term, title in STATISTICS.items():
        of = {row["method"]: row for _, row in rows[rows["term"].eq(term)].iterrows()}
        if of:
            cells = (estimate(of[method]) if method in of else "" for method in tried)
            lines.append((title, *cells, "; ".join(trace_of(of[method]) for method in tried if method in of)))
    return content_of(("", *tried.values(), TRACE), lines, say("perforation.validation_note"))
