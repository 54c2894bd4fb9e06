"""Sentences on estimates: each names the row of results.csv that it comes from."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.design import INTERCEPT
from liftseries.report.blocks import Block, Listing, Paragraph
from liftseries.report.material import Material
from liftseries.report.numbers import (
    count,
    counted,
    decimal,
    exponent,
    interval,
    listed,
    missing,
    percent,
    ratio,
    share_of,
)
from liftseries.report.wording import Words, trace


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
    at_risk = material.at_risk[material.at_risk["subset"].eq("all") & material.at_risk["months"].eq(float(row["term"]))]
    still = f", with {count(at_risk['n_at_risk'].iloc[0])} still at risk" if len(at_risk) else ""
    text = (
        f"At {row['term']} months {interval(row['estimate'], row['conf_low'], row['conf_high'], percent)} "
        f"of the implants were in function{still}; {count(row['n_events'])} of "
        f"{counted(row['n_sites'], 'implant')} followed failed at any time."
    )
    return Paragraph(text, source(row))


def gain_sentence(material: Material) -> Paragraph | None:
    course = material.gain_by_visit
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


def problems(material: Material, *analyses: str) -> list[Block]:
    """What could not be estimated in these analyses, each reason once."""
    rows = material.results[material.results["analysis"].isin(analyses)]
    rows = rows[rows["problem"].fillna("").ne("")]
    items = []
    for problem, group in rows.groupby("problem", sort=False):
        places = [
            source(row, row["method"] if row["analysis"] == "perforation.rate" else "") for _, row in group.iterrows()
        ]
        items.append(f"{listed(places)}: {problem}.")
    return [Listing("What could not be estimated in full, and why:", tuple(items))] if items else []


def source(row, method: str = "") -> str:
    return trace(row["analysis"], row["subset"], row["term"], method)


def first(rows: pd.DataFrame):
    return rows.iloc[0] if len(rows) else None


def last(rows: pd.DataFrame):
    return rows.iloc[-1] if len(rows) else None


def first_term(rows: pd.DataFrame):
    return first(rows[~rows["term"].eq(INTERCEPT) & rows["estimate"].notna()])


def small(text: str) -> str:
    return text[0].lower() + text[1:] if text else text


def effects(rows: pd.DataFrame, words: Words, outcome: str) -> Iterable[Block]:
    for _, row in rows[~rows["term"].eq(INTERCEPT) & rows["estimate"].notna()].iterrows():
        sentence = effect(row, words, outcome)
        if sentence:
            yield sentence
