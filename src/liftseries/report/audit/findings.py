"""What an audit found, the surest first, with how sure and what there is to decide: at most five on the first page."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pandas as pd

from liftseries.report.audit.indicators import (
    ALL,
    apart,
    asked_terms,
    is_true,
    n_compared,
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
    hidden,
    named,
    per_100,
    signed,
    smallest_cell,
    units,
)
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import decimal, listed, missing
from liftseries.report.kit.sentences import small, source
from liftseries.report.languages.say import say

MOST = 5
MOST_APART = 2
CHANCE_SHARE = 0.1  # signals are called likely where chance gives a tenth of them at most
ONE_SIDE = 0.025  # of an interval of 95 of 100
TO_SHOW = 2.8  # standard errors: a difference found with probability 0.8
DIRECTIONS = ("up", "down")


@dataclass(frozen=True)
class Decision:
    """What a committee is asked to decide; `known` is how it will know that it worked."""

    what: str
    owner: str
    due: str
    known: str


@dataclass(frozen=True)
class Finding:
    """A finding of the first page."""

    lead: str
    text: str
    sure: str
    source: str
    decide: Decision | None = None


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
    sure = say(
        "audit_page.likely_signal" if by_chance <= CHANCE_SHARE * seen else "audit_page.maybe_signal",
        charts=n_charts,
        seen=int(seen),
        expected=decimal(by_chance, 1),
    )
    of_term = rows[rows["term"].eq("signals") & rows["estimate"].gt(0)]
    for _, row in of_term.iterrows():
        beside = rows[rows["subset"].eq(row["subset"]) & rows["method"].eq(row["method"])].set_index("term")["estimate"]
        name = named(material, str(row["subset"]).partition("=")[2])
        due = first_stage(material, name, say("audit_page.known_chart", cases=int(beside["run_length"])))
        yield Finding(
            say(f"audit_page.signal_{row['method']}", unit=name),
            say("audit_page.signal_text", case=int(beside["first_signal"]), cases=row["n_sites"]),
            sure,
            source(row),
            due if row["method"] == "up" else None,
        )


def signals_of_all(rows: pd.DataFrame) -> tuple[float, float, int]:
    """Signals seen and expected by chance over all charts, and the number of charts."""
    seen, by_chance = (rows.loc[rows["term"].eq(term), "estimate"] for term in ("signals", "expected_signals"))
    return float(seen.sum()), float(by_chance.sum()), len(seen)


def worse_than_standard(material: Material) -> Iterator[Finding]:
    """Indicators that are worse than their standard, of the series or of units."""
    strips = strips_of(material)
    for term in asked_terms(strips):
        rows = strips[strips["indicator"].eq(term) & strips["verdict"].eq("worse")]
        if rows.empty:
            continue
        units_named = [_subject(material, name) for name in rows["unit"]]
        yield Finding(
            say("audit_page.lead_worse", indicator=title(term)),
            say(
                "audit_page.worse_text",
                units=units_named,
                standard=standard_words(rows.iloc[0]),
            ),
            say("audit_page.likely_interval"),
            "",
            first_stage(material, listed(units_named), say("audit_page.known_standard", indicator=title(term))),
        )


def _subject(material: Material, name: str) -> str:
    return say("audit_page.whole_series") if name == ALL else named(material, name)


def units_apart(material: Material) -> Iterator[Finding]:
    """Indicators by which some units lie apart from the whole series, of the same units in one finding.

    They are counted, as no standard is set for them.
    """
    n = n_compared(strips_of(material))
    groups: dict[tuple[str, ...], list[tuple[str, str, pd.Series]]] = {}
    for term, rows, whole, told in apart_in_order(material):
        groups.setdefault(tuple(str(row["unit"]) for row in rows), []).append((term, told, whole))
    for names, of_units in list(groups.items())[:MOST_APART]:
        whole_first = of_units[0][2]
        told = say("audit_page.apart_text", units=listed(list(names)), each=[told for _, told, _ in of_units])
        known = say("audit_page.known_share", indicator=title(of_units[0][0]), series=per_100(whole_first["value"]))
        lead = say("audit_page.lead_apart", indicators=[_inner(k, title(one[0])) for k, one in enumerate(of_units)])
        sure = say("audit_page.counted", n=n, chance=decimal(ONE_SIDE * n, 0))
        yield Finding(lead, told, sure, "", first_stage(material, listed(list(names)), known))


def _inner(place: int, name: str) -> str:
    return small(name) if place else name


def apart_in_order(material: Material) -> Iterator[tuple[str, list[pd.Series], pd.Series, str]]:
    """Those of `apart` that may be told on the first page, the widest gap first, with their counts in words."""
    cell = smallest_cell(material)
    for term, rows, whole in sorted(apart(strips_of(material)), key=_gap, reverse=True):
        events, total = (int(sum(row[of] for row in rows)) for of in ("n_events", "counted"))
        if hidden(events, cell) or hidden(total - events, cell) or not missing(whole["standard"]):
            continue
        told = say(
            "audit_page.apart_each",
            indicator=small(title(term)),
            counts=counted_out(events, total, cell),
            of=say(f"audit.of_{whole['counts']}"),
            series=per_100(whole["value"]),
        )
        yield term, rows, whole, told


def _gap(found: tuple[str, list[pd.Series], pd.Series]) -> float:
    """How far these units lie from the series, by their counts together."""
    _, rows, whole = found
    events, total = (sum(float(row[of]) for row in rows) for of in ("n_events", "counted"))
    return abs(events / total - float(whole["value"])) * math.sqrt(total) if total else 0.0


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
        if term in told:
            continue
        whole = strip(strips, ALL, term)
        of_units = strips[strips["indicator"].eq(term) & strips["unit"].ne(ALL)]
        if (
            whole is not None
            and int(whole["counted"] or 0)
            and len(of_units)
            and not of_units["enough"].map(is_true).any()
        ):
            names.append(small(title(term)))
    if names:
        yield Finding(
            say("audit_page.lead_few"),
            say("audit_page.few_text", indicators=names),
            say("audit_page.few_sure"),
            "",
        )


def first_stage(material: Material, unit: str, known: str) -> Decision | None:
    """The first stage that the policy asks for."""
    stages = material.asked["audit"]["policy"]["stages"]
    if not stages:
        return None
    stage = stages[0]
    return Decision(
        say("audit_page.decide_what", stage=stage["name"], unit=unit),
        stage["who"],
        say("audit_page.within", days=int(stage["working_days"])),
        known,
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
