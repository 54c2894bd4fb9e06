"""What the series cannot tell, in the study's own numbers: three limits for the first page, all of them for the last.

Each limit is told where the data bear it out, and left unsaid where they do not.
"""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.shared.design import INTERCEPT
from liftseries.models.shared.gates import SPLINE
from liftseries.report.closing.as_read import empty_means, empty_outcomes, not_collected, planned_months
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.entangled import entangled
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, is_withheld, missing
from liftseries.report.kit.sentences import small, source
from liftseries.report.kit.stages import IN_SERIES, LOGGED, has_log, stages
from liftseries.report.languages.say import say

THREE = 3
FEW_A_TERM = 10  # events for each coefficient below which an estimate is told as unsure; common practice, no source
HOLD_RESIDUAL_HEIGHT = ("rbh_mid_mm", "protrusion_mm", "dome_ml")
MODELS = {
    "perforation_terms": ("perforation.firth", "perforation.gee"),
    "survival_terms": ("survival.firth_cox", "survival.cox"),
    "gain_terms": ("gain.mixed",),
}
OUTCOMES = {
    "perforation": (MODELS["perforation_terms"], "closing.perforations_for", "closing.perforations_for_none"),
    "failure": (MODELS["survival_terms"], "closing.failures_for", "closing.failures_for_none"),
}


def three_limits(material: Material) -> tuple[str, ...]:
    """The limits of the first page, each one short sentence."""
    told = (
        empty_outcomes(material)[0],
        goes_with_protocol(material) or say("closing.not_randomised"),
        few_events(material),
        lost(material)[0],
        tested(material),
        unknown_perforation(material),
        say("closing.many_numbers"),
    )
    return tuple(filter(None, told))[:THREE]


def limits(material: Material) -> Iterable[Paragraph]:
    """All limits, a short paragraph each."""
    found = (
        (
            "closing.lead_not_randomised",
            (say("closing.chosen"), goes_with_protocol(material, "closing.entangled_too")),
            "",
        ),
        ("closing.lead_few_events", (few_events(material),), ""),
        ("closing.lead_detection", (tested(material), unknown_perforation(material)), ""),
        ("closing.lead_follow_up", (dated(material), lost(material)[0]), lost(material)[1]),
        ("closing.lead_height", (shared_height(material),), ""),
        ("closing.lead_missing", (gaps(material),), ""),
        (
            "closing.lead_reading",
            (
                empty_outcomes(material)[0],
                empty_means(material),
                not_collected(material),
                planned_months(material),
            ),
            empty_outcomes(material)[1],
        ),
        ("closing.lead_log", (from_a_log(material),), ""),
        ("closing.lead_many", (say("closing.many_numbers"),), ""),
    )
    for lead, sentences, rows in found:
        text = " ".join(filter(None, sentences))
        if text:
            yield Paragraph(text, rows, say(lead))


def goes_with_protocol(material: Material, sentence: str = "closing.entangled") -> str:
    """That approach goes with protocol, where it does."""
    found = entangled(material)
    return say(sentence, **vars(found)) if found else ""


def few_events(material: Material) -> str:
    """How few events stand behind what is compared; empty where they are enough, or there is nobody to have one."""
    n_failures, n_torn = n_events(material, "failure"), n_events(material, "perforation")
    if n_failures == 0 and n_torn == 0:
        return say("closing.no_event")
    told = [text for outcome in OUTCOMES if (text := _few(material, outcome))]
    none = [say(name) for name, n in (("closing.no_perforation", n_torn), ("closing.no_failure", n_failures)) if n == 0]
    return " ".join([*none, *([say("closing.few_events", events=told)] if told else [])])


def _few(material: Material, outcome: str) -> str:
    """`44 perforations for 5 terms`, where that is few."""
    analyses, of_terms, alone = OUTCOMES[outcome]
    n = n_events(material, outcome)
    if n is None or n == 0 or is_withheld(n):
        return ""
    quoted = material.quoted(*analyses)
    n_terms = len(set(quoted["term"]) - {INTERCEPT})
    if not n_terms:
        return say(alone, events=n) if n < SPLINE else ""
    used = quoted["n_events"].iloc[0]
    if is_withheld(used) or missing(used) or int(used) >= FEW_A_TERM * n_terms:
        return ""
    return say(of_terms, events=used, terms=n_terms)


def n_events(material: Material, outcome: str):
    """How many perforations, or failures, were counted; None where nobody could have had one."""
    analysis, term = {"perforation": ("perforation.rate", "rate"), "failure": ("followup.failures", "all")}[outcome]
    rows = material.rows(analysis, "all")
    rows = rows[rows["term"].eq(term) & pd.to_numeric(rows["n_sites"]).fillna(0).ne(0)]
    return None if rows.empty or missing(rows["n_events"].iloc[0]) else int(rows["n_events"].iloc[0])


def tested(material: Material) -> str:
    """That a perforation is what a test could show; with the sites at which none was made."""
    if n_events(material, "perforation") is None:
        return ""
    table = material.table("characteristics")
    untested = table[table["column"].eq("perforation_test") & table["subset"].eq("all") & table["level"].eq("none")]
    n = untested["n"].iloc[0] if len(untested) else 0
    return say("closing.tested") if missing(n) or not n else say("closing.tested_but", sites=n)


def unknown_perforation(material: Material) -> str:
    """At how many sites nobody knows of the membrane."""
    left_out = material.left_out
    rows = left_out[left_out["analysis"].eq("perforation.rate") & left_out["subset"].eq("all")]
    if rows.empty:
        return ""
    n = rows["n_sites"].min() if rows["n_sites"].map(is_withheld).any() else rows["n_sites"].sum()
    return say("closing.unknown_perforation", sites=n)


def dated(material: Material) -> str:
    """That a failure is dated at the visit that found it."""
    return say("closing.dated") if n_events(material, "failure") else ""


def lost(material: Material) -> tuple[str, str]:
    """How many implants were lost to follow-up of those due at the last month of the plan; and the row."""
    table = material.table("followup_by_month")
    rows = material.quoted("followup.completeness")
    for _, row in rows[rows["subset"].eq("all")].iloc[::-1].iterrows():
        counts = table[table["months"].eq(float(row["term"]))] if len(table) else table
        if len(counts) and not missing(counts["n_lost"].iloc[0]) and counts["n_lost"].iloc[0] != 0:
            n_due, n_lost = counts["n_due"].iloc[0], counts["n_lost"].iloc[0]
            return say("closing.lost", due=n_due, lost=n_lost, months=float(row["term"])), source(row)
    return "", ""


def shared_height(material: Material) -> str:
    """Gain and the terms that hold residual height share a measurement, and its error ties them."""
    rows = material.quoted("gain.mixed")
    return say("closing.shared_height") if rows["term"].isin(HOLD_RESIDUAL_HEIGHT).any() else ""


def gaps(material: Material) -> str:
    """What is missing of the terms of the models, and what is done about it."""
    table = material.table("missing")
    terms = {term for key, models in MODELS.items() if len(material.quoted(*models)) for term in material.asked[key]}
    here = table[table["subset"].eq("all") & table["column"].isin({"perforation", *terms})] if len(table) else table
    here = here[pd.to_numeric(here["n_missing"]).ne(0)] if len(here) else here
    if here.empty:
        return ""
    told = [
        say("closing.gap", column=small(material.words.column(row["column"])), sites=row["n_missing"])
        for _, row in here.iterrows()
    ]
    return say("closing.gaps", gaps=told)


def from_a_log(material: Material) -> str:
    """That a depth is worked out from what was written down."""
    if not has_log(material):
        return ""
    row, series = stages(material)[LOGGED], stages(material)[IN_SERIES]
    return say("closing.log", logged=count(row["n_sites"]), sites=series["n_sites"])
