"""The same question by other methods: the rows that stand beside a quoted one, in one table and one forest."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.models.questions import ANALYSES
from liftseries.models.shared.design import INTERCEPT
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import way_of
from liftseries.report.kit.numbers import count, missing, p_value
from liftseries.report.kit.quoted import beside
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.languages.say import say
from liftseries.report.perforation.sentences import HEIGHTS, share_row, share_words

# Short names of methods; any other is called as its analysis declares it.
SHORT = {
    ("perforation.rate", "patients"): "Patients as clusters",
    ("perforation.rate", "wilson"): "Wilson, sites independent",
    ("perforation.rate", "exact"): "Exact, sites independent",
    ("perforation.rate", "cluster"): "GEE with a constant only",
    ("perforation.firth", "profile_or_jackknife"): "Penalised, the wider of both",
    ("perforation.firth", "first_terms"): "Penalised, first terms",
    ("perforation.firth", "profile"): "Penalised, profile",
    ("perforation.firth", "jackknife"): "Penalised, patient jackknife",
    ("perforation.gee", "sandwich"): "GEE, sandwich",
    ("perforation.gee", "corrected"): "GEE, corrected",
    ("perforation.imputed", "pooled"): "GEE, missing terms imputed",
} | {
    (analysis, method): name
    for analysis in (*HEIGHTS.values(), "perforation.risk_difference")
    for method, name in (("firth", "Penalised"), ("gee", "GEE, corrected"), ("standardised", "GEE, sandwich or spline"))
}


def method_name(row) -> str:
    """How a row was made, in a few words."""
    return SHORT.get((row["analysis"], row["method"])) or way_of(row)


def questions(material: Material) -> Iterator[tuple[str, pd.DataFrame, pd.DataFrame]]:
    """Each question that several methods answer, its rows, and those of them that are quoted and shown."""
    by_question: dict[str, list[str]] = {}
    for analysis in ANALYSES.values():
        if analysis.answers and analysis.about == "perforation":
            by_question.setdefault(analysis.answers, []).append(analysis.name)
    for question, analyses in by_question.items():
        rows = material.results[material.results["analysis"].isin(analyses)]
        quoted = material.quoted(*analyses)
        quoted = quoted[quoted["subset"].eq("all") & ~quoted["term"].eq(INTERCEPT)]
        yield question, rows, quoted[[_shown(material, row) for _, row in quoted.iterrows()]]


def _shown(material: Material, row) -> bool:
    """Of the risks along a measure only those at the ends of the plan's contrast are compared."""
    of_height = {analysis: column for column, analysis in HEIGHTS.items()}
    if row["analysis"] not in of_height:
        return True
    ends = material.asked["risk_contrasts"].get(of_height[row["analysis"]], ())
    return row["term"] in {f"{end:g}" for end in ends if not isinstance(end, str)}


def methods_table(material: Material, words: Words) -> Content | None:
    """Every answer to a question with a quoted one, by every method, under the question; None of a bound alone."""
    whole = share_row(material)
    if whole is None or whole["n_events"] == 0:
        return None
    printed: list[tuple[str, ...]] = []
    weak = False
    for question, rows, quoted in questions(material):
        heading = [question]
        for _, one in quoted.iterrows():
            same = beside(rows[rows["analysis"].eq(one["analysis"]) | rows["scale"].eq("log_odds")], one)
            found = [row for _, row in same.iterrows()]
            if len(found) > 1:
                printed += [(text, *[""] * 6) for text in (*heading, f"   {of_what(one, words)}")]
                printed += [_line(row) for row in found]
                heading = []
                weak |= any(is_weak(row) for row in found)
    note = " ".join([say("perforation.methods_note"), *([say("perforation.weak_note")] if weak else [])])
    heads = ("Method", "Estimate (95% interval)", "p", "Sites", "Patients", "Events", TRACE)
    return content_of(heads, printed, note)


def is_weak(row) -> bool:
    """Whether a row's note tells not to rely on it."""
    return not missing(row["note"]) and "few_events" in names_in(row["note"])


def _line(row) -> tuple[str, ...]:
    told = share_words(row) if row["analysis"] == "perforation.rate" else ""
    return (
        f"      {method_name(row)}{' *' if is_weak(row) else ''}",
        told or estimate(row),
        p_value(row["p_value"]),
        *(count(row[name]) for name in ("n_sites", "n_patients", "n_events")),
        trace_of(row),
    )


def of_what(row, words: Words) -> str:
    """What a row is about, for a reader."""
    term = str(row["term"])
    if row["analysis"] == "perforation.rate":
        return words.subset(row["subset"])
    if row["analysis"] == "perforation.risk_difference":
        return words.contrast(term)
    for column, analysis in HEIGHTS.items():
        if row["analysis"] == analysis:
            return f"{words.column(column)} {term} mm"
    return words.term(term, str(row["note"]))
