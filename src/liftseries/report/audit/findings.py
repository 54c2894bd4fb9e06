"""What an audit found, the surest first, with how sure and what there is to decide: at most five on the first page."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import pandas as pd

from liftseries.report.audit.finding import Finding, first_stage
from liftseries.report.audit.findings_apart import apart_in_order, units_apart
from liftseries.report.audit.indicators import (
    ALL,
    PERFORATION,
    RECEIVED,
    asked_terms,
    is_true,
    standard_words,
    strip,
    strips_of,
    title,
)
from liftseries.report.audit.units import (
    ALARM,
    CUSUM,
    SERIES,
    counted_out,
    named,
    per_100,
    signed,
    smallest_cell,
    units,
)
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import decimal, listed
from liftseries.report.kit.sentences import small, source
from liftseries.report.languages.say import say

MOST = 5
RARELY = 0.05  # so rarely would chance give as many signals, where they are called likely
TO_SHOW = 2.8  # standard errors: a difference found with probability 0.8


def findings(material: Material) -> tuple[Finding, ...]:
    """At most five."""
    found = [finding for find in IN_ORDER for finding in find(material)]
    return tuple(found[:MOST])


def alarms(material: Material) -> Iterator[Finding]:
    """Units beyond an alarm limit in all three views, each by name."""
    cell = smallest_cell(material)
    for unit in units(material):
        if abs(unit.flag()) != ALARM or not unit.stands:
            continue
        side = "high" if unit.flag() > 0 else "low"
        name = named(material, unit.name)
        yield Finding(
            say(f"audit_page.alarm_{side}", unit=name),
            say(
                "audit_page.alarm_text",
                sites=counted_out(unit.n_events, unit.n_sites, cell),
                expected=per_100(unit.value("expected")),
                chance=per_100(unit.value("false_alarm_flag")),
            ),
            say("audit_page.firm"),
            source(unit.terms["clustered"]["flag"]),
            first_stage(material, name, say("audit_page.known_funnel")) if side == "high" else None,
        )


def series(material: Material) -> Iterator[Finding]:
    """The whole series against the standard, where one is set."""
    rows = material.quoted(SERIES).set_index("term", drop=False)
    if "flag" not in rows.index or "rate" not in rows.index:
        return
    rate, flag = rows.loc["rate"], int(rows.loc["flag"]["estimate"])
    side = "within" if not flag else "high" if flag > 0 else "low"
    yield Finding(
        say("audit_page.lead_series"),
        say(
            f"audit_page.series_{side}",
            sites=counted_out(rate["n_events"], rate["n_sites"], smallest_cell(material)),
            rate=per_100(rate["estimate"]),
            low=per_100(rate["conf_low"]),
            high=per_100(rate["conf_high"]),
            standard=per_100(rows.loc["expected"]["estimate"]),
        ),
        say("audit_page.likely_limit" if flag else "audit_page.open_limit"),
        source(rate),
    )


def signals(material: Material) -> Iterator[Finding]:
    """Operators whose CUSUM signalled."""
    rows = material.quoted(CUSUM)
    seen, by_chance, n_charts = signals_of_all(rows)
    all_told = {"charts": n_charts, "seen": int(seen), "expected": decimal(by_chance, 1)}
    flags = {unit.name: unit.flag() for unit in units(material) if unit.stands}
    of_term = rows[rows["term"].eq("signals") & rows["estimate"].gt(0)]
    for _, row in of_term.iterrows():
        beside = rows[rows["subset"].eq(row["subset"]) & rows["method"].eq(row["method"])].set_index("term")["estimate"]
        level = str(row["subset"]).partition("=")[2]
        same_side = flags.get(level, 0) * (1 if row["method"] == "up" else -1) > 0
        likely = (
            "likely_both" if same_side else "likely_signal" if by_luck(seen, by_chance) <= RARELY else "maybe_signal"
        )
        name = named(material, level)
        due = first_stage(material, name, say("audit_page.known_chart", cases=int(beside["run_length"])))
        yield Finding(
            say(f"audit_page.signal_{row['method']}", unit=name),
            say("audit_page.signal_text", case=int(beside["first_signal"]), cases=row["n_sites"]),
            say(f"audit_page.{likely}", **all_told),
            source(row),
            due if row["method"] == "up" else None,
        )


def signals_of_all(rows: pd.DataFrame) -> tuple[float, float, int]:
    """Signals seen and expected by chance over all charts, and the number of charts."""
    seen, by_chance = (rows.loc[rows["term"].eq(term), "estimate"] for term in ("signals", "expected_signals"))
    return float(seen.sum()), float(by_chance.sum()), len(seen)


def by_luck(seen: float, expected: float) -> float:
    """How often chance gives as many signals or more: Poisson."""
    from scipy.special import pdtrc  # few reports need it

    return float(pdtrc(seen - 1, expected)) if seen >= 1 else 1.0


def worse_than_standard(material: Material) -> Iterator[Finding]:
    """Indicators that are worse than their standard, of the series or of units; tears have the funnel."""
    strips = strips_of(material)
    for term in asked_terms(strips):
        if term == PERFORATION:
            continue
        rows = strips[strips["indicator"].eq(term) & strips["verdict"].eq("worse")]
        if rows.empty:
            continue
        units_named = [_subject(material, name) for name in rows["unit"]]
        yield Finding(
            say("audit_page.lead_worse", indicator=title(strips, term)),
            say(
                "audit_page.worse_text",
                units=units_named,
                standard=standard_words(rows.iloc[0]),
            ),
            say("audit_page.likely_interval"),
            "",
            first_stage(material, listed(units_named), say("audit_page.known_standard", indicator=title(strips, term))),
        )


def _subject(material: Material, name: str) -> str:
    return say("audit_page.whole_series") if name == ALL else named(material, name)


def over_years(material: Material) -> Iterator[Finding]:
    """The last year against all before."""
    rows = material.rows("audit.year")
    rows = rows[rows["subset"].ne("all")]
    if rows.empty:
        return
    last = rows[rows["subset"].eq(rows["subset"].iloc[-1])].set_index("term", drop=False)
    if not {"rate", "difference"} <= set(last.index) or last["estimate"].isna().any():
        return
    rate, change = last.loc["rate"], last.loc["difference"]
    low, high = (signed(change[name]) for name in ("conf_low", "conf_high"))
    is_open = change["conf_low"] <= 0 <= change["conf_high"]
    yield Finding(
        say("audit_page.lead_year", year=str(rate["subset"]).partition("=")[2]),
        say(
            "audit_page.year_text",
            sites=counted_out(rate["n_events"], rate["n_sites"], smallest_cell(material)),
            change=signed(change["estimate"]),
            low=low,
            high=high,
        ),
        say("audit_page.open_change", least=math.ceil(100 * TO_SHOW * change["std_error"]))
        if is_open
        else say("audit_page.likely_interval_years"),
        "; ".join(map(source, (rate, change))),
    )


def too_few(material: Material) -> Iterator[Finding]:
    """Indicators by which no unit can be judged."""
    strips, names = strips_of(material), []
    told = {term for term, *_ in apart_in_order(material)}
    for term in asked_terms(strips):
        if term in told or term == RECEIVED:
            continue
        whole = strip(strips, ALL, term)
        of_units = strips[strips["indicator"].eq(term) & strips["unit"].ne(ALL)]
        if (
            whole is not None
            and int(whole["counted"] or 0)
            and len(of_units)
            and not of_units["enough"].map(is_true).any()
        ):
            names.append(small(title(strips, term)))
    if names:
        yield Finding(
            say("audit_page.lead_few"),
            say("audit_page.few_text", indicators=names),
            say("audit_page.few_sure"),
            "",
        )


IN_ORDER: tuple[Callable[[Material], Iterator[Finding]], ...] = (
    alarms,
    series,
    signals,
    worse_than_standard,
    units_apart,
    over_years,
    too_few,
)
