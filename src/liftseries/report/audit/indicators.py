"""The indicators as the chapters read them: their names, strips, and how a value is written."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import decimal, missing, percent
from liftseries.report.languages.say import say
from liftseries.study.indicators import Indicator, indicators_with

STRIPS = "audit_indicator_strips"
ALL = "all"
SHARES = ("sites", "patients", "cells")
RECEIVED, PERFORATION = "cases_received", "perforation"


def known(audit: Mapping[str, Any]) -> dict[str, Indicator]:
    """The indicators by name, the committee's own among them; `audit` is that section of the plan."""
    return {one.name: one for one in indicators_with(audit.get("own_indicators") or {})}


def title(strips: pd.DataFrame, term: str) -> str:
    """`Implant survival, 12 months` for `survival at 12`; that of the shipped indicator where it has no strip."""
    name, _, month = str(term).partition(" at ")
    rows = strips[strips["indicator"].astype(str).str.partition(" at ")[0].eq(name)] if len(strips) else strips
    titles = rows["title"].dropna() if "title" in rows else ()
    found = known({}).get(name)
    called = str(titles.iloc[0]) if len(titles) else found.title if found else name.replace("_", " ")
    return say("audit.at_months", name=called, months=float(month)) if month else called


def asked_terms(strips: pd.DataFrame) -> list[str]:
    """The terms, one an indicator: of those of several months the first."""
    terms = dict.fromkeys(strips["indicator"].astype(str))
    first: dict[str, str] = {}
    for term in terms:
        first.setdefault(term.partition(" at ")[0], term)
    return list(first.values())


def strip(strips: pd.DataFrame, unit: str, term: str) -> pd.Series | None:
    """The row of a unit and indicator."""
    rows = strips[strips["unit"].eq(unit) & strips["indicator"].eq(term)]
    return rows.iloc[0] if len(rows) else None


def strips_by_cell(strips: pd.DataFrame) -> dict[tuple[str, str], pd.Series]:
    """Unit and indicator -> their row."""
    rows = strips.drop_duplicates(["unit", "indicator"])
    return {(row["unit"], row["indicator"]): row for _, row in rows.iterrows()}


def is_true(value) -> bool:
    """A yes that may come as text from a file."""
    return str(value).lower() == "true"


def value_words(row: pd.Series | None) -> str:
    """`93.1%`, `3.4 mm`, `46% of expected`; empty where there is none."""
    if row is None or missing(row["value"]):
        return ""
    if row["counts"] == "measurements":
        return say("audit.mm", value=decimal(row["value"], 1))
    return percent(row["value"])


def standard_words(row: pd.Series) -> str:
    """The standard of a row, written as its value is."""
    return value_words(pd.Series({**row, "value": row["standard"]}))


def bad_side(row: pd.Series, series: pd.Series | None) -> int:
    """-1 where the value is worse than the standard, or than the series without one, 1 where better, 0 otherwise."""
    against = row["standard"] if not missing(row["standard"]) else math.nan if series is None else series["value"]
    if missing(against) or missing(row["value"]) or row["value"] == against:
        return 0
    return 1 if (row["value"] < against) == (row["good"] == "low") else -1


def apart(strips: pd.DataFrame) -> Iterator[tuple[str, list[pd.Series], pd.Series]]:
    """Indicators of which the whole interval of some units is worse than the series: term, their rows, the series'."""
    for term in asked_terms(strips):
        series = strip(strips, ALL, term)
        if series is None or series["counts"] not in SHARES or missing(series["value"]) or term == PERFORATION:
            continue
        of_term = strips[strips["indicator"].eq(term) & strips["unit"].ne(ALL)]
        end = of_term["conf_low"].where(of_term["good"].eq("low"), -of_term["conf_high"])
        beyond = series["value"] * of_term["good"].eq("low").map({True: 1, False: -1})
        worse = of_term[of_term[["conf_low", "conf_high"]].notna().all(axis=1) & end.gt(beyond)]
        if len(worse):
            yield term, [row for _, row in worse.iterrows()], series


def is_worse_than(row: pd.Series, value: float) -> bool:
    """Whether a unit's whole interval is worse."""
    if missing(row["conf_low"]) or missing(row["conf_high"]):
        return False
    return bool(row["conf_low"] > value if row["good"] == "low" else row["conf_high"] < value)


def n_compared(strips: pd.DataFrame) -> int:
    """How many intervals of units `apart` looks at."""
    rows = strips[strips["unit"].ne(ALL) & strips["counts"].isin(SHARES) & strips["conf_low"].notna()]
    return int((rows["indicator"].isin(asked_terms(strips)) & rows["indicator"].ne(PERFORATION)).sum())


def strips_of(material: Material) -> pd.DataFrame:
    """All strips."""
    return material.table(STRIPS)
