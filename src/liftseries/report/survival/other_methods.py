"""The same question by other methods: what stands beside quoted survival and beside quoted hazard ratios."""

from __future__ import annotations

import pandas as pd

from liftseries.report.kit.material import Material
from liftseries.report.kit.method import way_of
from liftseries.report.kit.numbers import count, decimal, p_value
from liftseries.report.kit.quoted import beside
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.survival.sentences import share_words

# Analyses of the share in function at a month, the quoted one first; then what is asked in another way.
SURVIVAL = ("survival.km", "survival.life_table", "survival.turnbull", "survival.interval_curve")
LOST, EVALUE = "sensitivity.lost_implants", "sensitivity.evalue"
ASKED_OTHERWISE = ("survival.patient", "survival.competing", "survival.rmst")
HAZARDS = ("survival.firth_cox", "survival.cox", "survival.imputed")
# Short names of methods; any other is called as its analysis declares it.
SHORT = {
    ("survival.km", "corrected"): "Kaplan-Meier, corrected",
    ("survival.km", "infinitesimal_jackknife"): "Kaplan-Meier, jackknife",
    ("survival.life_table", "actuarial"): "Life table",
    ("survival.turnbull", "bootstrap"): "Failure between two visits, Turnbull",
    ("survival.interval_curve", "weibull"): "Failure between two visits, Weibull",
    ("survival.patient", "infinitesimal_jackknife"): "Patients without a failure",
    ("survival.competing", "corrected"): "Failed, death competing",
    ("survival.rmst", "corrected"): "Months in function until then",
    (LOST, "best_case"): "Lost implants all last",
    (LOST, "worst_case"): "Lost implants all fail",
    ("survival.firth_cox", "profile_or_jackknife"): "Penalised, the wider of both",
    ("survival.firth_cox", "first_terms"): "Penalised, first terms",
    ("survival.firth_cox", "profile"): "Penalised, profile",
    ("survival.firth_cox", "jackknife"): "Penalised, patient jackknife",
    ("survival.cox", "sandwich"): "Cox, sandwich",
    ("survival.cox", "corrected"): "Cox, corrected",
    ("survival.imputed", "pooled"): "Cox, missing terms imputed",
    ("survival.interval", "weibull"): "Ratio of times to failure, Weibull",
    (EVALUE, "hazard_ratio"): "E-value of the ratio (of its limit)",
}
NOT_COMPARED = {(LOST, "as_observed")}  # Kaplan-Meier once more
NOTE = "The first line of each is the one that the report quotes. "


def method_name(row) -> str:
    """How a row was made, in a few words."""
    return SHORT.get((row["analysis"], row["method"])) or way_of(row)


def survival_at(rows: pd.DataFrame, quoted: pd.Series) -> pd.DataFrame:
    """The share in function at a quoted month by every method, best and worst case among them."""
    made = zip(rows["analysis"], rows["method"], strict=True)
    of_share = [one[0] in (*SURVIVAL, LOST) and one not in NOT_COMPARED for one in made]
    return beside(rows[of_share], quoted)


def survival_methods_table(material: Material, words: Words) -> Content | None:
    """Survival at each quoted month by every method, and what is asked in another way."""
    rows = material.results[material.results["analysis"].isin([*SURVIVAL, LOST, *ASKED_OTHERWISE])]
    printed = []
    for _, one in _of_all(material.quoted("survival.km")).iterrows():
        otherwise = rows["analysis"].isin(ASKED_OTHERWISE) & (
            rows["headline"].eq(True) | rows["analysis"].eq("survival.patient")
        )
        found = pd.concat([survival_at(rows, one), beside(rows[otherwise], one)])
        printed += [_line(row, f"Month {one['term']}") for _, row in found.iterrows()]
    note = NOTE + (
        "Patients without a failure, failures with death competing and months in function ask something else of the "
        "same implants. Lost implants: those lost to follow-up at the month or at an earlier one of the plan. "
        "Failures: at any time; in the lines of the lost implants, those by the month."
    )
    heads = ("At", "Method", "Estimate (95% interval)", "p", "Sites", "Patients", "Failures", TRACE)
    return content_of(heads, printed, note)


def hazard_methods_table(material: Material, words: Words) -> Content | None:
    """Each quoted hazard ratio, by every method; its E-value."""
    rows = material.results[material.results["analysis"].isin([*HAZARDS, "survival.interval"])]
    evalues = material.quoted(EVALUE)
    printed = []
    for _, one in _of_all(material.quoted(*HAZARDS)).iterrows():
        found = pd.concat([beside(rows, one), evalues[evalues["term"].eq(f"{one['analysis']} {one['term']}")]])
        if len(found) > 1:
            printed += [_line(row, words.term(one["term"], str(one["note"]))) for _, row in found.iterrows()]
    note = NOTE + "A ratio of times above 1 means that implants last longer."
    heads = ("Term", "Method", "Estimate (95% interval)", "p", "Sites", "Patients", "Failures", TRACE)
    return content_of(heads, printed, note)


def _of_all(rows: pd.DataFrame) -> pd.DataFrame:
    return rows[rows["subset"].eq("all")]


def _line(row, of_what: str) -> tuple[str, ...]:
    told = estimate(row)
    if row["analysis"] == EVALUE:
        told = f"{decimal(row['estimate'])} ({decimal(row['conf_low'])})"
    elif row["analysis"] in ("survival.km", "survival.competing"):
        told = share_words(row) or told
    counts = [count(row[name]) for name in ("n_sites", "n_patients", "n_events")]
    if row["analysis"] == "survival.life_table":  # it counts who enters the year that begins then, and fails in it
        counts = [""] * len(counts)
    return (of_what, method_name(row), told, p_value(row["p_value"]), *counts, trace_of(row))
