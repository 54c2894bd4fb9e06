"""Survival by other methods: what stands beside quoted survival, and months in function compared."""

from __future__ import annotations

import pandas as pd

from liftseries.report.kit.material import Material
from liftseries.report.kit.method import reference_in, way_of
from liftseries.report.kit.numbers import count, missing
from liftseries.report.kit.quoted import below_gate, beside
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate, rounded_by
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say
from liftseries.report.survival.sentences import may_be_set_side_by_side, quoted_survival, share_words
from liftseries.report.survival.tables import MOST_MONTHS, NOT_QUOTED, keys, spread

# Analyses of the share in function at a month, the quoted one first; then what is asked in another way.
SURVIVAL = ("survival.km", "survival.life_table", "survival.turnbull", "survival.interval_curve")
LOST, DIFFERENCE = "sensitivity.lost_implants", "survival.rmst_difference"
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
}
NOT_COMPARED = {(LOST, "as_observed")}  # Kaplan-Meier once more
OF_ANOTHER_COUNT = ("survival.life_table", LOST)  # whose events are those of a year, or by a month


def method_name(row) -> str:
    """How a row was made, in a few words."""
    return SHORT.get((row["analysis"], row["method"])) or way_of(row)


def survival_at(rows: pd.DataFrame, quoted: pd.Series) -> pd.DataFrame:
    """The share in function at a quoted month by every method, best and worst case among them."""
    made = zip(rows["analysis"], rows["method"], strict=True)
    of_share = [one[0] in (*SURVIVAL, LOST) and one not in NOT_COMPARED for one in made]
    return beside(rows[pd.Series(of_share, index=rows.index, dtype=bool)], quoted)


def survival_methods_table(material: Material, words: Words) -> Content | None:
    """Survival at the quoted months by every method, and what is asked in another way: a method a row."""
    if not may_be_set_side_by_side(material):
        return None
    rows = material.results[material.results["analysis"].isin([*SURVIVAL, LOST, *ASKED_OTHERWISE])]
    quoted = quoted_survival(material)
    months = spread(list(quoted["term"]), MOST_MONTHS)
    otherwise = rows["analysis"].isin(ASKED_OTHERWISE) & (
        rows["headline"].eq(True) | rows["analysis"].eq("survival.patient")
    )
    found: dict[tuple[str, str], dict[str, pd.Series]] = {}
    for _, one in quoted[quoted["term"].isin(months)].iterrows():
        of_month = pd.concat([survival_at(rows, one), beside(rows[otherwise], one)])
        for _, row in of_month.iterrows():
            found.setdefault((row["analysis"], row["method"]), {})[one["term"]] = row
    printed = [line for of_month in found.values() if (line := _line(of_month, months))]
    if len(printed) < 2:
        return None
    heads = ("Method", *(f"{month} months" for month in months), "Implants", "Patients", "Failures", TRACE)
    return content_of(heads, printed, say("survival.methods_note"))


def _line(of_month: dict[str, pd.Series], months: list[str]) -> tuple[str, ...] | None:
    """A method's row; None where it has no interval at any month."""
    cells = [_cell(of_month[month]) if month in of_month else NOT_QUOTED for month in months]
    if set(cells) == {NOT_QUOTED}:
        return None
    row = next(iter(of_month.values()))
    failures = "" if row["analysis"] in OF_ANOTHER_COUNT else count(row["n_events"])
    people = ("", "") if row["analysis"] == "survival.life_table" else (count(row["n_sites"]), count(row["n_patients"]))
    return (method_name(row), *cells, *people, failures, keys(of_month, cells, months))


def _cell(row) -> str:
    if missing(row["estimate"]) or (missing(row["conf_low"]) and not rounded_by(row)):
        return NOT_QUOTED
    return share_words(row) if row["scale"] == "probability" else estimate(row)


def months_apart_table(material: Material, words: Words) -> Content | None:
    """Differences in months in function between the levels of a column: a level a row, a month a column."""
    if not may_be_set_side_by_side(material):
        return None
    rows = material.rows(DIFFERENCE)
    rows = rows[rows["term"].isin(quoted_survival(material)["term"]) & ~below_gate(rows)]
    months = spread(list(dict.fromkeys(rows["term"])), MOST_MONTHS)
    printed = []
    for subset, of_subset in rows.groupby("subset", sort=False):
        of_month = {row["term"]: row for _, row in of_subset.iterrows() if row["term"] in months}
        cells = [_cell(of_month[month]) if month in of_month else NOT_QUOTED for month in months]
        if set(cells) == {NOT_QUOTED}:
            continue
        row = of_subset.iloc[0]
        column, _, level = subset.partition("=")
        label = words.term(f"{column}[{level}]", f"{row['note']}")
        label = label if reference_in(str(row["note"]), column) else words.subset(subset)
        counts = (count(row[name]) for name in ("n_sites", "n_patients", "n_events"))
        printed.append((label, *cells, *counts, keys(of_month, cells, months)))
    heads = ("Compared", *(f"{month} months" for month in months), "Implants", "Patients", "Failures", TRACE)
    return content_of(heads, printed, say("survival.restricted_note"))
