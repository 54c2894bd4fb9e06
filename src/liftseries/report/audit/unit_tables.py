"""Tables of the units: the headline view with its limits, the other views, rates drawn to the mean, the series."""

from __future__ import annotations

from liftseries.report.audit.units import (
    ALARM,
    CLUSTERED,
    FUNNEL,
    SERIES,
    VIEWS,
    Unit,
    flag_words,
    of_all,
    per_100,
    rate_words,
    unit_word,
    units,
    years_words,
)
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, decimal, missing, p_value, percent
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate
from liftseries.report.kit.words import Words, trace, trace_of
from liftseries.report.languages.say import say

LIMITS = (("lower_alert", "lower_alarm"), ("upper_alert", "upper_alarm"))
RANDOM = "audit.random_effects"


def units_table(material: Material, words: Words) -> Content | None:
    """A row a unit: torn of sites, rate, limits, flag, chance of a false one, whether it stands, sites needed."""
    by = material.asked["audit"]["by"]
    rows = [_unit_row(unit, by) for unit in units(material) if unit.is_told(CLUSTERED) or not unit.n_sites]
    if not any(unit.is_told(CLUSTERED) for unit in units(material)):
        return None
    heads = ("torn", "rate", "limits", "flag", "stands", "false_flag", "needed")
    return content_of(
        (words.column(by), *(say(f"audit.head_{name}") for name in heads), TRACE), rows, say("audit.units_note")
    )


def _unit_row(unit: Unit, by: str) -> tuple[str, ...]:
    if not unit.is_told(CLUSTERED):
        return (unit.name, "0/0", say("audit.no_site"), "", "", "", "", "", "")
    flag = unit.flag()
    needed = unit.value("needed_sites")
    more = years_words(unit.value("years"))
    cleared = say("audit.enough") if unit.can_be_cleared else more
    terms = ("rate", "flag", "false_flag", "needed_sites")
    return (
        unit.name,
        f"{unit.n_events}/{unit.n_sites}",
        rate_words(unit),
        limits_words(unit),
        flag_words(flag),
        say("audit.yes" if unit.stands else "audit.no") if flag else "–",
        per_100(unit.value("false_flag")),
        say("audit.beyond_reach") if missing(needed) else f"{int(needed)} ({cleared})" if cleared else f"{int(needed)}",
        "; ".join(trace(FUNNEL, f"{by}={unit.name}", term, CLUSTERED) for term in terms),
    )


def limits_words(unit: Unit, view: str = CLUSTERED) -> str:
    """`above 24.1, 31.0`: the counts of 100 at which alert and alarm begin, low ones first where there are any."""
    told = []
    for side, names in zip(("low", "high"), LIMITS, strict=True):
        values = [unit.value(name, view) for name in names]
        if not all(map(missing, values)):
            told.append(say(f"audit.limits_{side}", values=", ".join(per_100(value) or "–" for value in values)))
    return "; ".join(told)


def views_table(material: Material, words: Words) -> Content | None:
    """A row a unit and view: rate expected, tail probabilities, flag, false flags."""
    by = material.asked["audit"]["by"]
    rows = []
    for unit in units(material):
        for view in VIEWS:
            if not unit.is_told(view):
                continue
            row = unit.terms[view]["flag"]
            rows.append(
                (
                    unit.name,
                    say(f"audit.view_{view}"),
                    f"{count(row['n_events'])}/{count(row['n_sites'])}",
                    per_100(unit.value("expected", view)),
                    limits_words(unit, view),
                    p_value(row["p_value"]),
                    flag_words(unit.flag(view)),
                    per_100(unit.value("false_flag", view)),
                    "; ".join(
                        trace(FUNNEL, f"{by}={unit.name}", term, view) for term in ("expected", "flag", "false_flag")
                    ),
                )
            )
    heads = ("view", "torn", "expected", "limits", "p", "flag", "false_flag")
    return content_of(
        (words.column(by), *(say(f"audit.head_{name}") for name in heads), TRACE), rows, say("audit.views_note")
    )


def chance_table(material: Material, words: Words) -> Content | None:
    """Flags and alarms seen beside those expected by chance, a row a view."""
    rows = []
    for view in VIEWS:
        told = {name: of_all(material, name, view) for name in ("flags", "expected_flags", "any_flag")}
        alarms = {
            name: of_all(material, name, view) for name in ("alarm_flags", "expected_alarm_flags", "any_alarm_flag")
        }
        if missing(told["flags"]):
            continue
        cells = [f"{int(told['flags'])}", decimal(told["expected_flags"], 2), percent(told["any_flag"])]
        cells += [
            f"{int(alarms['alarm_flags'])}",
            decimal(alarms["expected_alarm_flags"], 2),
            percent(alarms["any_alarm_flag"]),
        ]
        keys = "; ".join(trace(FUNNEL, "all", term, view) for term in (*told, *alarms))
        rows.append((say(f"audit.view_{view}"), *cells, keys))
    heads = ("view", "flags", "flags_expected", "any_flag", "alarms", "alarms_expected", "any_alarm")
    return content_of((*(say(f"audit.head_{name}") for name in heads), TRACE), rows)


def shrunken_table(material: Material, words: Words) -> Content | None:
    """Each unit's rate drawn to the mean of all, beside its own."""
    by = material.asked["audit"]["by"]
    own = {unit.name: unit for unit in units(material)}
    rows = material.quoted(RANDOM)
    rows = rows[rows["term"].eq("rate")]
    lines = []
    for _, row in rows.iterrows():
        name = str(row["subset"]).partition("=")[2]
        told = rate_words(own[name]) if name in own else ""
        lines.append((name, f"{count(row['n_events'])}/{count(row['n_sites'])}", told, estimate(row), trace_of(row)))
    heads = ("torn", "own_rate", "shrunken")
    return content_of(
        (words.column(by), *(say(f"audit.head_{name}") for name in heads), TRACE),
        lines,
        say("audit.shrunken_note", unit=unit_word(words, by)),
    )


def series_told(material: Material) -> tuple[str, str]:
    """How the whole series lies to the standard, and its rows; that none is set, where none is."""
    rows = material.quoted(SERIES)
    if rows.empty:
        standard = material.asked["audit"]["standard"]
        return say("audit.no_standard" if standard is None else "audit.standard_unread"), ""
    of = rows.set_index("term", drop=False)
    rate, flag = of.loc["rate"], int(of.loc["flag"]["estimate"])
    name = "within" if not flag else f"{'alarm' if abs(flag) == ALARM else 'alert'}_{'high' if flag > 0 else 'low'}"
    text = say(
        "audit.series",
        n=rate["n_events"],
        sites=rate["n_sites"],
        rate=estimate(rate),
        standard=percent(of.loc["expected"]["estimate"]),
        where=say(f"audit.series_{name}"),
    )
    return text, "; ".join((trace_of(rate), trace_of(of.loc["flag"])))
