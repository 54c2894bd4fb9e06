"""Sentences on estimates: each names the row of results.csv that it comes from."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.shared.design import INTERCEPT
from liftseries.report.kit.blocks import Block, Listing, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import (
    WITHHELD,
    count,
    counted,
    decimal,
    exponent,
    interval,
    listed,
    missing,
    p_value,
    percent,
    ratio,
    share_of,
)
from liftseries.report.kit.words import Words, named_method, trace, trace_of

NO_CUT_POINTS = (
    "No cut-point of bone height is offered. A cut-point says that a site just below it differs from one just above "
    "and that all sites on one side are alike; chosen from the data it moves from sample to sample, makes the "
    "difference look larger than it is and the p-value smaller. The curve shows what a cut-point would hide; bands, "
    "if wanted, are those that the plan named beforehand."
)
USABLE_C, USABLE_SLOPE = 0.8, (0.9, 1.1)  # what a model should reach before it is tried on new patients; our convention


def rate_sentence(material: Material) -> Paragraph | None:
    rows = material.rows("perforation.rate", "all")
    row = first(rows[rows["method"].eq("cluster") & rows["estimate"].notna()])
    row = row if row is not None else first(rows[rows["method"].eq("exact") & rows["estimate"].notna()])
    if row is None:
        return None
    numbers = interval(row["estimate"], row["conf_low"], row["conf_high"], percent)
    crude = share_of(row["n_events"], row["n_sites"]).replace(" (", " sites where it is known (")
    kind = "with sites clustered in patients" if row["method"] == "cluster" else "sites taken as independent"
    text = f"The membrane was perforated at {crude}; the rate is {numbers}, {kind}."
    return Paragraph(text, source(row, row["method"]))


def depth_sentence(material: Material) -> Paragraph | None:
    rows = {row["term"]: row for _, row in material.rows("depth.agreement").iterrows() if not missing(row["estimate"])}
    if not {"bias", "low", "high"} <= set(rows):
        return None
    bias = rows["bias"]
    size, deeper = _size(bias)
    text = (
        f"The last drilled depth lay on average {size} mm {'deeper' if deeper else 'shallower'} than "
        f"planned at {counted(bias['n_sites'], 'site')}; the limits of agreement reach from "
        f"{decimal(rows['low']['estimate'])} to {decimal(rows['high']['estimate'])} mm."
    )
    return Paragraph(text, source(bias))


def survival_sentence(material: Material) -> Paragraph | None:
    rows = material.rows("survival.km", "all")
    row = last(rows[rows["estimate"].notna()])
    if row is None:
        return None
    at_risk = material.table("survival_at_risk")
    at_risk = at_risk[at_risk["subset"].eq("all") & at_risk["months"].eq(float(row["term"]))]
    still = f", with {count(at_risk['n_at_risk'].iloc[0])} still at risk" if len(at_risk) else ""
    text = (
        f"At {row['term']} months {interval(row['estimate'], row['conf_low'], row['conf_high'], percent)} "
        f"of the implants were in function{still}; {count(row['n_events'])} of "
        f"{counted(row['n_sites'], 'implant')} followed failed at any time."
    )
    return Paragraph(text, source(row))


def gain_sentence(material: Material) -> Paragraph | None:
    course = material.table("gain_by_visit")
    if course.empty:
        return None
    year = course[course["months"].eq(12)] if course["months"].eq(12).any() else course.tail(1)
    row = year.iloc[0]
    sd = "" if missing(row["sd"]) else f" (SD {decimal(row['sd'])})"
    text = (
        f"Around month {row['months']:g} the mean bone gain was {decimal(row['mean'])} mm{sd}, from "
        f"{counted(row['n'], 'measurement')}."
    )
    return Paragraph(text, "models/gain_by_visit.csv")


def effect(row, words: Words, outcome: str) -> Paragraph | None:
    """What a term of a ratio model says, in one sentence."""
    if row is None:
        return None
    estimate, low, high = (exponent(row[name]) for name in ("estimate", "conf_low", "conf_high"))
    numbers = interval(estimate, low, high, ratio)
    text = f"{_compared(row, words, outcome)} {numbers} times as high" + _open(low, high, 1.0) + "."
    return Paragraph(text[0].upper() + text[1:], source(row))


def _compared(row, words: Words, outcome: str) -> str:
    """`with each further mm of residual bone height the odds of a perforation were`."""
    was = "were" if outcome.startswith("the odds") else "was"
    name, _, level = str(row["term"]).partition("[")
    column = small(words.column(name))
    if not level:
        return f"with each further {words.unit(name) or 'unit'} of {column} {outcome} {was}"
    told = words.term(row["term"], str(row["method"])).partition(": ")[2]
    return f"{column}, {told}: {outcome} {was}"


def _open(low: float, high: float, none: float) -> str:
    if missing(low) or missing(high):
        return ""
    return f"; the interval includes {none:g}, so the direction stays open" if low < none < high else ""


def difference(row, words: Words) -> Paragraph:
    """What a term of the gain model says."""
    numbers, larger = _size(row)
    text = f"{_compared(row, words, 'bone gain')} {numbers} mm {'larger' if larger else 'smaller'}"
    text += _open(row["conf_low"], row["conf_high"], 0.0) + "."
    return Paragraph(text[0].upper() + text[1:], source(row))


def _size(row) -> tuple[str, bool]:
    """A difference without its sign, with its interval, and whether it is above 0."""
    if row["estimate"] >= 0:
        return interval(row["estimate"], row["conf_low"], row["conf_high"]), True
    return interval(-row["estimate"], -row["conf_high"], -row["conf_low"]), False


def bias_sentence(material: Material) -> Iterable[Block]:
    """Whether the error of the last depth grows with the depth."""
    row = first_term(material.rows("depth.proportional_bias"))
    if row is None:
        return
    change, deeper = _size(row)
    text = (
        f"With each further mm planned, the last depth lay {change} mm {'deeper' if deeper else 'shallower'} against it"
    )
    yield Paragraph(text + _open(row["conf_low"], row["conf_high"], 0.0) + ".", source(row))


def bend_sentences(material: Material, words: Words) -> Iterable[Block]:
    """Whether the risk bends along residual height and planned lift."""
    rows = material.rows("perforation.nonlinearity")
    told = [
        f"{small(words.column(row['term']))} p {p_value(row['p_value'])}"
        for _, row in rows[rows["estimate"].notna()].iterrows()
    ]
    if told:
        yield Paragraph(
            f"Whether the risk follows a bent line rather than a straight one on the logit: {listed(told)}. A large p "
            "does not say that the line is straight.",
            "perforation.nonlinearity",
        )


def risk_difference_sentences(material: Material, words: Words) -> Iterable[Block]:
    """A sentence a contrast of the plan, per 100 sites."""
    rows = material.rows("perforation.risk_difference")
    for _, row in rows[rows["estimate"].notna()].iterrows():
        size, more = _size(row)
        text = f"{words.contrast(row['term'])}: {size} {'more' if more else 'fewer'} perforations per 100 sites"
        yield Paragraph(text + _open(row["conf_low"], row["conf_high"], 0.0) + ".", source(row))


def validation_sentences(material: Material) -> Iterable[Block]:
    """How well the model predicts, and what that means for using it."""
    rows = material.rows("perforation.validation", "all")
    corrected = rows[rows["method"].str.startswith("optimism-corrected") & rows["estimate"].notna()]
    of_term = {row["term"]: row for _, row in corrected.iterrows()}
    if not {"c_statistic", "calibration_slope"} <= set(of_term):
        return
    c, slope = of_term["c_statistic"], of_term["calibration_slope"]
    usable = c["estimate"] >= USABLE_C and USABLE_SLOPE[0] <= slope["estimate"] <= USABLE_SLOPE[1]
    advice = (
        "It may be worth trying on patients of other centres; until that is done it is no tool for a patient."
        if usable
        else "Do not use it to tell a patient's risk: it describes this series and tells sites apart too poorly."
    )
    yield Paragraph(
        f"As a predictor, corrected for optimism, the model has a c statistic of "
        f"{interval(c['estimate'], c['conf_low'], c['conf_high'])} and a calibration slope of "
        f"{interval(slope['estimate'], slope['conf_low'], slope['conf_high'])}. {advice}",
        source(c),
    )


def hazards_sentence(material: Material) -> Iterable[Block]:
    """Whether hazard ratios stay the same over time."""
    rows = material.rows("survival.ph")
    rows = rows[rows["term"].eq("GLOBAL") & rows["estimate"].notna()]
    clustered = rows[rows["method"].str.contains("clustered")]
    row = first(clustered if len(clustered) else rows)
    if row is not None:
        seen = "give reason to doubt" if row["p_value"] < 0.05 else "do not contradict"
        yield Paragraph(
            f"The data {seen} that hazard ratios stay the same over time (p {p_value(row['p_value'])}); with few "
            "failures such a test sees little.",
            source(row),
        )


def evalue_sentence(material: Material) -> Iterable[Block]:
    """What an E-value says."""
    rows = material.rows("sensitivity.evalue")
    if rows["estimate"].notna().any():
        yield Paragraph(
            "A cause that was not recorded could explain a ratio away only if it went with both the exposure and the "
            "outcome at least as strongly as the E-value says, beyond what the model holds constant. A small E-value "
            "means that little is needed."
        )


def lost_sentence(material: Material) -> Iterable[Block]:
    """How far the implants lost from sight could move survival."""
    rows = material.rows("sensitivity.lost_implants")
    rows = rows[rows["estimate"].notna()]
    if rows.empty:
        return
    last_month = rows["term"].iloc[-1]
    cases = {row["method"].partition(":")[0]: row for _, row in rows[rows["term"].eq(last_month)].iterrows()}
    if {"best case", "worst case"} <= set(cases):
        best, worst = cases["best case"], cases["worst case"]
        yield Paragraph(
            f"Implants are lost from sight. Had all of them lasted, {percent(best['estimate'])} would stand at "
            f"{last_month} months; had all failed right after their last visit, {percent(worst['estimate'])}.",
            source(worst),
        )


def problems(material: Material, *analyses: str) -> list[Block]:
    """What could not be estimated in these analyses, each reason once."""
    rows = material.results[material.results["analysis"].isin(analyses)]
    rows = rows[~rows["problem"].fillna("").isin(["", WITHHELD])]
    items = []
    for problem, group in rows.groupby("problem", sort=False):
        places = [trace_of(row) for _, row in group.iterrows()]
        items.append(f"{listed(places)}: {problem}.")
    return [Listing("What could not be estimated in full, and why:", tuple(items))] if items else []


def source(row, method: str = "") -> str:
    return trace(row["analysis"], row["subset"], row["term"], method or named_method(row))


def first(rows: pd.DataFrame):
    return rows.iloc[0] if len(rows) else None


def last(rows: pd.DataFrame):
    return rows.iloc[-1] if len(rows) else None


def first_term(rows: pd.DataFrame):
    return first(rows[~rows["term"].eq(INTERCEPT) & rows["estimate"].notna()])


def small(text: str) -> str:
    return text[0].lower() + text[1:] if text else text


def rows_to_read(material: Material, model: str, penalised: str) -> pd.DataFrame:
    """A model's rows, or those of its penalised jackknife where events are few or the model has no finite answer."""
    rows = material.rows(model)
    few = rows["method"].str.contains(f"read {penalised}", regex=False).any() or rows["estimate"].isna().all()
    instead = material.rows(penalised)
    instead = instead[instead["method"].str.startswith("jackknife") & instead["estimate"].notna()]
    return instead if few and len(instead) else rows


def effects(rows: pd.DataFrame, words: Words, outcome: str) -> Iterable[Block]:
    for _, row in rows[~rows["term"].eq(INTERCEPT) & rows["estimate"].notna()].iterrows():
        sentence = effect(row, words, outcome)
        if sentence:
            yield sentence
