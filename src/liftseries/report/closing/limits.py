"""What the series cannot tell, in the study's own numbers."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.shared.design import INTERCEPT
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, counted, is_withheld, listed, missing, percent, share_of

HOLD_RESIDUAL_HEIGHT = ("rbh_mid_mm", "protrusion_mm", "dome_ml")


def limits_told(material: Material) -> Iterable[str]:
    """The limits; those that the data do not bear out are left unsaid."""
    yield (
        "This is a series of cases, not an experiment. Who was treated how was decided by people who saw "
        "the patient, so that a difference between groups can come from how they were chosen. Terms in a "
        "model account for what was recorded, not for what was not."
    )
    yield from _few_events(material)
    yield from _detection(material)
    if pd.to_numeric(material.rows("survival.km")["n_events"]).gt(0).any():
        yield (
            "A failure found at a visit happened at some time since the visit before. The report dates it at the "
            "visit that found it, so that survival before that visit looks a little better than it was."
        )
    yield from _dropouts(material)
    yield from _shared_height(material)
    yield from _missing(material)
    yield from _log(material)
    yield (
        "Many numbers stand in this report. Intervals and p-values are not widened for their number, so "
        "that about one in twenty intervals misses the truth even if every assumption holds."
    )


def _few_events(material: Material) -> Iterable[str]:
    told = []
    for analyses, one, many in (
        (("perforation.firth", "perforation.gee"), "perforation", "perforations"),
        (("survival.firth_cox", "survival.cox"), "failure", "failures"),
    ):
        rows = material.quoted(*analyses)
        if len(rows) and not missing(rows["n_events"].iloc[0]):
            n_terms = len(set(rows["term"]) - {INTERCEPT})
            told.append(f"{counted(rows['n_events'].iloc[0], one, many)} for {counted(n_terms, 'coefficient')}")
    if told:
        yield (
            f"Events carry the models that are quoted: {listed(told)}. Where there are fewer than about ten for a "
            "coefficient, estimates swing and intervals can be too narrow; what a model does not find may "
            "still be there."
        )


def _detection(material: Material) -> Iterable[str]:
    text = (
        "A perforation counts as such when the test used at the site could show it; what no test looked for "
        "stays unseen."
    )
    tests = material.table("characteristics")
    if len(tests):
        tests = tests[tests["column"].eq("perforation_test") & tests["subset"].eq("all")]
        used = [
            f"{str(row['level']).replace('_', ' ')} at {count(row['n'])}" for _, row in tests.iterrows() if row["n"]
        ]
        if used:
            text += f" How the membrane was tested, by sites: {listed(used)}."
    left_out = material.left_out
    unknown = left_out[left_out["analysis"].eq("perforation.rate") & left_out["subset"].eq("all")]
    if len(unknown):
        n = unknown["n_sites"].min() if unknown["n_sites"].map(is_withheld).any() else unknown["n_sites"].sum()
        text += (
            f" At {counted(n, 'site')} it is unknown whether the membrane tore, and "
            f"{'it stays' if n == 1 else 'they stay'} out."
        )
    yield text


def _dropouts(material: Material) -> Iterable[str]:
    table = material.table("survival_at_risk")
    table = table[table["subset"].eq("all")] if len(table) else table
    if table.empty:
        return
    start, later = table[table["months"].eq(0)], table[table["months"].gt(0)]
    if start.empty or later.empty:
        return
    n = start["n_at_risk"].iloc[0]
    yearly = later[later["months"] % 12 == 0]
    told = [
        f"{count(row['n_at_risk'])} at month {row['months']:g}"
        for _, row in (later if yearly.empty else yearly).iterrows()
    ]
    yield (
        f"Of {counted(n, 'implant')} at risk at placement, the following were still at risk: "
        f"{listed(told)}. The others had failed or died, were not yet due or were lost to follow-up"
        f"{_lost(material)}; if those who stay away fare worse, survival is flattered."
    )
    left_out = material.left_out
    never = left_out[left_out["analysis"].isin(["survival.km", "follow_up"]) & left_out["subset"].eq("all")]
    told = [f"{count(row['n_sites'])} ({material.words.reason(str(row['reason']))})" for _, row in never.iterrows()]
    if told:
        yield f"Sites that no survival estimate could use: {listed(told)}."


def _lost(material: Material) -> str:
    """How many were lost to follow-up before the last month at which survival is stated."""
    table = material.table("followup_by_month")
    table = table[table["n_due"].ne(0)] if len(table) else table
    if table.empty:
        return ""
    row = table.iloc[-1]
    return f" ({count(row['n_lost'])} of {counted(row['n_due'], 'implant')} due at month {row['months']:g})"


def _shared_height(material: Material) -> Iterable[str]:
    """Gain and the terms that hold residual height share a measurement, and its error ties them."""
    rows = material.rows("gain.mixed")
    tied = rows["term"].isin(HOLD_RESIDUAL_HEIGHT) & rows["estimate"].notna()
    if tied.any():
        yield (
            "Bone gain is worked out from the residual bone height, and so are terms of its model. An error in "
            "measuring that height moves both, so that they are correlated more than the bone is."
        )


def _missing(material: Material) -> Iterable[str]:
    table = material.table("missing")
    table = table[table["subset"].eq("all")] if len(table) else table
    if table.empty:
        return
    terms = {term for key in ("perforation_terms", "survival_terms", "gain_terms") for term in material.asked[key]}
    gaps = table[pd.to_numeric(table["n_missing"]).ne(0)]
    used = gaps[gaps["column"].isin({"perforation", *terms})]
    told = [
        f"{material.words.column(row['column']).lower()} {share_of(row['n_missing'], row['n'])}"
        for _, row in used.iterrows()
    ]
    if told:
        yield (
            f"Among what the models take, values are missing: {listed(told)}. Models take complete cases; missing "
            "terms are imputed beside them, which helps where what is missing can be predicted from what is known, "
            "and not where it hangs together with itself. A perforation that is unknown stays unknown."
        )
    elif len(gaps):
        yield "Values are missing, though none that a model takes; the table of missing values says which."


def _log(material: Material) -> Iterable[str]:
    stages = {row["stage"]: row for _, row in material.table("flow").iterrows()}
    if "with a drilling log" not in stages or "in the series" not in stages:
        return
    with_log, n = stages["with a drilling log"]["n_sites"], stages["in the series"]["n_sites"]
    if missing(with_log) or missing(n) or not int(n) or not int(with_log):
        return
    share = "" if is_withheld(with_log) or is_withheld(n) else f" ({percent(int(with_log) / int(n))})"
    yield (
        f"A drilling log exists for {count(with_log)} of {counted(n, 'site')}{share}. It tells what was written down: "
        "a depth is worked out from instrument, stop and platform, not measured in the jaw, and a deviation that "
        "nobody logged stays unseen."
    )
