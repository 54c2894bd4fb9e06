"""Hazard ratios by other methods, time ratios, whether hazards stay proportional, bone gain and later failure."""

from __future__ import annotations

import pandas as pd

from liftseries.models.shared.design import INTERCEPT
from liftseries.models.shared.gates import terms_allowed
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, decimal, is_withheld, missing, p_value
from liftseries.report.kit.quoted import below_gate, beside
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.languages.say import say
from liftseries.report.survival.other_methods import HAZARDS, method_name

ALL_TERMS = "GLOBAL"
SHAPE = "(log shape)"


def hazard_methods_table(material: Material, words: Words) -> Content | None:
    """Each quoted hazard ratio, and the same by every other method that has an interval."""
    rows = material.results[material.results["analysis"].isin(HAZARDS) & material.results["conf_low"].notna()]
    quoted = material.quoted(*HAZARDS)
    printed = []
    for _, one in quoted[quoted["subset"].eq("all")].iterrows():
        found = beside(rows, one)
        if len(found) > 1:
            printed += [(words.term(one["term"], str(one["note"])), *_ratio(row)) for _, row in found.iterrows()]
    heads = ("Term", "Method", "Hazard ratio (95% interval)", "p", "Implants", "Patients", "Failures", TRACE)
    return content_of(heads, printed, say("survival.hazards_note"))


def _ratio(row) -> tuple[str, ...]:
    counts = (count(row[name]) for name in ("n_sites", "n_patients", "n_events"))
    return (method_name(row), estimate(row), p_value(row["p_value"]), *counts, trace_of(row))


def time_ratios(material: Material) -> pd.DataFrame:
    """The terms' ratios of the time to failure, where there are failures enough for all of them."""
    rows = material.rows("survival.interval", "all")
    rows = rows[~rows["term"].isin([INTERCEPT, SHAPE]) & rows["estimate"].notna() & rows["conf_low"].notna()]
    rows = rows[~below_gate(rows)]
    if rows.empty or is_withheld(rows["n_events"].iloc[0]):
        return rows.iloc[:0]
    return rows if len(rows) <= terms_allowed(int(rows["n_events"].iloc[0])) else rows.iloc[:0]


def time_ratios_table(material: Material, words: Words) -> Content | None:
    """The same terms where failures lie between two visits, as ratios of the time to failure."""
    return _terms_table(time_ratios(material), words, "Time ratio", "survival.times_note")


def proportional_hazards_table(material: Material, words: Words) -> Content | None:
    """Whether hazard ratios stay the same over time: the quoted test of each term, and of all together."""
    rows = [
        (
            "All terms together" if row["term"] == ALL_TERMS else words.column(row["term"]),
            decimal(row["estimate"]),
            "" if missing(row["df"]) else f"{row['df']:g}",
            p_value(row["p_value"]),
            trace_of(row),
        )
        for _, row in material.quoted("survival.ph").iterrows()
    ]
    return content_of(("Term", "χ²", "Degrees of freedom", "p", TRACE), rows, say("survival.proportional_note"))


def gain_table(material: Material, words: Words) -> Content | None:
    """The quoted hazard ratios of the landmark model."""
    month = f"{material.asked['landmark_months']:g}"
    return _terms_table(material.quoted("survival.gain"), words, "Hazard ratio", "survival.landmark_note", month=month)


def _terms_table(rows: pd.DataFrame, words: Words, what: str, note: str, **holes: str) -> Content | None:
    """A row a term; the note counts what they all rest on."""
    if rows.empty:
        return None
    printed = [
        (words.term(row["term"], str(row["note"])), estimate(row), p_value(row["p_value"]), trace_of(row))
        for _, row in rows.iterrows()
    ]
    row = rows.iloc[0]
    counts = {"failures": row["n_events"], "implants": row["n_sites"], "patients": row["n_patients"]}
    return content_of(("Term", f"{what} (95% interval)", "p", TRACE), printed, say(note, **counts, **holes))
