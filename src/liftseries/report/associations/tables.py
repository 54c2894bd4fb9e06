"""Adjusted associations in one table: the quoted terms of the three models, under their outcomes."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.gain.at_visits import CHANGE
from liftseries.models.shared.design import INTERCEPT
from liftseries.models.shared.penalised import FIRST_TERMS
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, p_value
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.languages.say import say

# Outcome -> the analyses whose quoted rows are its associations.
OUTCOMES = {
    "perforation": ("perforation.firth", "perforation.gee"),
    "failure": ("survival.firth_cox", "survival.cox"),
    "gain": ("gain.mixed",),
}
PENALISED = {"perforation": "perforation.firth", "failure": "survival.firth_cox"}
PER_MONTH = "months"


def associations(material: Material, outcome: str) -> pd.DataFrame:
    """The quoted terms of an outcome: the intercept and means aside, change told per year and not per month."""
    rows = material.quoted(*OUTCOMES[outcome])
    own = rows["term"].str.startswith("mean at ") | rows["term"].eq(INTERCEPT)
    if rows["term"].eq(CHANGE).any():
        own |= rows["term"].eq(PER_MONTH)
    return rows[~own]


def associations_table(material: Material, words: Words) -> Content | None:
    """A line a term under its outcome; outcomes with too few events have none."""
    found = {outcome: rows for outcome in OUTCOMES if len(rows := associations(material, outcome))}
    counts = {"Events": "n_events", "Sites": "n_sites", "Patients": "n_patients"}
    if not set(found) - {"gain"}:
        counts.pop("Events")
    heads = ("Term", "Estimate (95% interval)", "p", *counts, TRACE)
    printed: list[tuple[str, ...]] = []
    for outcome, rows in found.items():
        printed.append((say(f"associations.heading_{outcome}"), *[""] * (len(heads) - 1)))
        printed += [_line(row, words, counts.values()) for _, row in rows.iterrows()]
    return content_of(heads, printed, " ".join(_notes(material, words)))


def _line(row, words: Words, counts: Iterable[str]) -> tuple[str, ...]:
    per_year = row["term"] == CHANGE
    term = say("associations.per_year") if per_year else words.term(row["term"], str(row["note"]))
    numbers = (count(row[name]) for name in counts)
    return f"   {term}", estimate(row), p_value(row["p_value"]), *numbers, trace_of(row)


def _notes(material: Material, words: Words) -> Iterable[str]:
    """How the estimates were made, and how to read them."""
    ratios, gain = (any(len(associations(material, name)) for name in names) for names in (PENALISED, ["gain"]))
    yield say(f"associations.interval{'' if ratios and gain else '_ratio' if ratios else '_difference'}")
    penalised = {
        outcome
        for outcome, analysis in PENALISED.items()
        if analysis in set(associations(material, outcome)["analysis"])
    }
    if penalised:
        name = "" if len(penalised) == 2 else "_odds" if "perforation" in penalised else "_hazards"
        yield say(f"associations.penalised{name}")
    if gain:
        yield say("associations.gain")
    yield say("associations.complete")
    yield from _not_in_model(material, words)


def _not_in_model(material: Material, words: Words) -> Iterable[str]:
    """Terms of the plan that a model leaves out, as its events allow no more."""
    for outcome, key in (("perforation", "perforation_terms"), ("failure", "survival_terms")):
        rows = associations(material, outcome)
        if rows.empty or not rows["method"].eq(FIRST_TERMS).all():
            continue
        used = set(rows["term"].str.partition("[")[0])
        lacking = [words.column(name) for name in material.asked[key] if name not in used]
        if lacking:
            terms = [text[0].lower() + text[1:] for text in lacking]
            yield say("associations.not_in_model", terms=terms, outcomes=[say(f"associations.of_{outcome}")])
