"""What was not possible and why, once: made from the declarations of all analyses and their rows of results.csv.

**A subject, not an analysis.** Several analyses answer one question, and a reader wants to know of the question: a
subject is possible where any of its rows may be quoted, and where none may it stands under one reason.

**One reason a subject.** A whole table that is missing goes before few events, and these before the words of the
row itself. What nobody recorded, and what may not leave the house, needs no word here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from liftseries.base.remarks import WITHHELD, names_in
from liftseries.models.questions import QUESTIONS
from liftseries.models.shared.design import INTERCEPT
from liftseries.models.shared.gates import FEWEST_AT_RISK, SPLINE
from liftseries.models.shared.question import Analysis
from liftseries.report.closing.limits import n_events
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import not_recorded
from liftseries.report.kit.numbers import is_withheld
from liftseries.report.kit.quoted import below_gate
from liftseries.report.kit.sentences import small, unanswered
from liftseries.report.kit.stages import has_log
from liftseries.report.languages.say import say

# Question -> its subject; questions of one subject answer it together.
SUBJECTS = {
    "surgery": "closing.of_surgery",
    "perforation_rate": "closing.of_share_torn",
    "perforation_gee": "closing.of_torn_terms",
    "perforation_firth": "closing.of_torn_terms",
    "perforation_imputed": "closing.of_torn_terms",
    "perforation_risk": "closing.of_risks",
    "perforation_validation": "closing.of_prediction",
    "perforation_recorded": "closing.of_tears",
    "followup_completeness": "closing.of_follow_up",
    "followup_time": "closing.of_follow_up",
    "survival_km": "closing.of_survival",
    "survival_life_table": "closing.of_survival",
    "survival_turnbull": "closing.of_survival",
    "survival_cox": "closing.of_failed_terms",
    "survival_firth_cox": "closing.of_failed_terms",
    "survival_imputed": "closing.of_failed_terms",
    "survival_interval": "closing.of_between_visits",
    "survival_ph": "closing.of_over_time",
    "survival_competing": "closing.of_competing",
    "survival_rmst": "closing.of_months",
    "survival_patient": "closing.of_patients",
    "survival_gain": "closing.of_landmark",
    "complications": "closing.of_complications",
    "gain_mixed": "closing.of_gain",
    "bone_marginal": "closing.of_marginal",
    "stability": "closing.of_stability",
    "measurement_icc": "closing.of_alike",
    "depth_ended": "closing.of_ended",
    "depth_adherence": "closing.of_adherence",
    "depth_perforation": "closing.of_adherence",
    "depth_agreement": "closing.of_agreement",
    "depth_read": "closing.of_reading",
    "depth_proportional_bias": "closing.of_error",
    "depth_deviations": "closing.of_deviations",
    "sensitivity_evalue": "closing.of_unmeasured",
    "sensitivity_detection": "closing.of_overlooked",
    "sensitivity_lost": "closing.of_lost",
    "sensitivity_filled_cells": "closing.of_filled_cells",
}
FAILURES = {
    "closing.of_failed_terms",
    "closing.of_between_visits",
    "closing.of_over_time",
    "closing.of_competing",
    "closing.of_months",
    "closing.of_patients",
}
OF_EVENTS = {
    "failure": {*FAILURES, "closing.of_landmark", "closing.of_lost", "closing.of_unmeasured"},
    "perforation": {
        "closing.of_torn_terms",
        "closing.of_risks",
        "closing.of_prediction",
        "closing.of_tears",
        "closing.of_overlooked",
        "closing.of_unmeasured",
    },
}
FROM_VISITS = {
    *FAILURES,
    "closing.of_follow_up",
    "closing.of_survival",
    "closing.of_landmark",
    "closing.of_lost",
    "closing.of_complications",
    "closing.of_gain",
}
FROM_VISITS |= {"closing.of_marginal"}
FROM_A_LOG = {
    "closing.of_ended",
    "closing.of_adherence",
    "closing.of_agreement",
    "closing.of_reading",
    "closing.of_error",
    "closing.of_deviations",
}
NEEDS_NO_WORD = {"nothing_missing", "nothing_to_impute_for", "one_centre", "value_not_recorded"}
NAMES = {
    "failure": ("closing.none_failed", "closing.few_failed", "closing.few_terms_failed", "survival"),
    "perforation": ("closing.none_torn", "closing.few_torn", "closing.few_terms_torn", "perforation"),
}


@dataclass(frozen=True)
class Subject:
    """A subject that has no row to quote: its name, its rows without an answer, and why they have none."""

    name: str
    problems: tuple[str, ...]
    too_few: bool


def items(material: Material) -> tuple[str, ...]:
    """The items of the list."""
    open_ones = {subject.name: subject for subject in without_answer(material)}
    told = []
    for sentence, has, subjects in (
        ("closing.no_log", has_log(material), FROM_A_LOG),
        ("closing.no_visits", material.has_visits, FROM_VISITS),
    ):
        if len(material.results) and not has:
            told.append(say(sentence))
            open_ones = {name: subject for name, subject in open_ones.items() if name not in subjects}
    for outcome in OF_EVENTS:
        told += too_few(material, outcome, open_ones)
    told += at_risk(material)
    by_reason: dict[str, list[str]] = {}
    for subject in open_ones.values():
        reason = subject.problems[0] if subject.problems else say("closing.too_little")
        by_reason.setdefault(reason, []).append(say(subject.name))
    told += [say("closing.because", subjects=names, reason=reason) for reason, names in by_reason.items()]
    return tuple(told)


def without_answer(material: Material) -> Iterable[Subject]:
    """The subjects of which no row may be quoted, though something was recorded."""
    for name in dict.fromkeys(SUBJECTS.values()):
        analyses = [a for question in QUESTIONS if SUBJECTS.get(question.name) == name for a in question.analyses]
        rows = {analysis.name: material.rows(analysis.name) for analysis in analyses}
        if any(_has_answer(rows[analysis.name], analysis) for analysis in analyses):
            continue
        everything = pd.concat(list(rows.values())) if rows else material.results.iloc[:0]
        if everything.empty or everything["problem"].eq(WITHHELD).any() or not_recorded(everything).all():
            continue
        asked = pd.concat([unanswered(rows[analysis.name], analysis) for analysis in analyses])
        known = [p for p in dict.fromkeys(asked["problem"]) if not names_in(p) & NEEDS_NO_WORD]
        gated = bool(below_gate(everything).any())
        if known or gated:
            yield Subject(name, tuple(filter(None, map(material.words.problem, known))), gated)


def _has_answer(rows: pd.DataFrame, analysis: Analysis) -> bool:
    """Whether a row may be quoted: a headline, or of an analysis without headlines any that is not below its gate."""
    if rows.empty:
        return False
    whole = rows[rows["subset"].eq("all")] if rows["subset"].eq("all").any() else rows
    if analysis.headline:
        whole = whole[whole["headline"].eq(True)]
    return bool((whole["estimate"].notna() & ~below_gate(whole)).any()) if len(whole) else False


def too_few(material: Material, outcome: str, open_ones: dict[str, Subject]) -> list[str]:
    """What the events are too few for, which is taken out of `open_ones`; and the terms that a model went without."""
    none, few, few_terms, room = NAMES[outcome]
    n = n_events(material, outcome)
    if n is None:
        return []
    here = [
        name
        for name in open_ones
        if name in OF_EVENTS[outcome] and (open_ones[name].too_few or (not is_withheld(n) and n < SPLINE))
    ]
    told = []
    if here:
        subjects = [say(name) for name in here]
        told.append(say(none, subjects=subjects) if n == 0 else say(few, events=n, subjects=subjects))
    for name in here:
        open_ones.pop(name)
    left = _terms_left_out(material, room)
    return told + ([say(few_terms, events=n, terms=left)] if left else [])


def _terms_left_out(material: Material, room: str) -> list[str]:
    """The plan's terms that the penalised model went without, as events were too few for them."""
    rows = material.quoted("perforation.firth" if room == "perforation" else "survival.firth_cox")
    rows = rows[~rows["term"].eq(INTERCEPT)]
    if rows.empty or not rows["method"].eq("first_terms").any():
        return []
    used = set(rows["term"].str.partition("[")[0])
    return [small(material.words.column(term)) for term in material.asked[f"{room}_terms"] if term not in used]


def at_risk(material: Material) -> list[str]:
    """The plan's months at which too few implants were at risk."""
    rows = material.rows("survival.km", "all")
    rows = rows[rows["note"].map(lambda note: "below_gate_at_risk" in names_in(note)).astype(bool)]
    months = list(dict.fromkeys(f"{float(month):g}" for month in rows["term"]))
    return [say("closing.at_risk", fewest=FEWEST_AT_RISK, months=months)] if months else []
