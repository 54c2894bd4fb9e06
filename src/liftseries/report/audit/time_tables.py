"""Tables over time: charts, years, case numbers."""

from __future__ import annotations

import pandas as pd

from liftseries.report.audit.units import CUSUM, signed
from liftseries.report.audit.year_figures import may_be_drawn
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, decimal, missing, p_value, percent, share_of
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.languages.say import say

CHART_TERMS = ("limit", "achieved_false_alarm", "expected_signals", "run_length", "signals")


def charts_table(material: Material, words: Words) -> Content | None:
    """A row an operator and direction: limit, false alarm, signals expected and seen, cases to a signal."""
    rows = material.quoted(CUSUM)
    lines = []
    for (subset, method), of in rows.groupby(["subset", "method"], sort=False):
        term = of.set_index("term", drop=False)
        if not set(CHART_TERMS) <= set(term.index):
            continue
        value = term["estimate"].astype(float)
        lines.append(
            (
                str(subset).partition("=")[2],
                say(f"audit.direction_{method}"),
                count(term.iloc[0]["n_sites"]),
                decimal(value["limit"]),
                percent(value["achieved_false_alarm"]) if value["achieved_false_alarm"] else "0%",
                say("audit.seen_expected", seen=int(value["signals"]), expected=decimal(value["expected_signals"])),
                _first(value),
                decimal(value["run_length"], 0),
                "; ".join(trace_of(row) for _, row in of.iterrows()),
            )
        )
    heads = ("direction", "cases", "limit", "false_alarm", "signals", "first_signal", "run_length")
    name = words.column(material.asked["audit"]["by"])
    return content_of((name, *(say(f"audit.head_{head}") for head in heads), TRACE), lines, say("audit.charts_note"))


def _first(value: pd.Series) -> str:
    return f"{int(value['first_signal'])}" if "first_signal" in value.index else "–"


def years_table(material: Material, words: Words) -> Content | None:
    """Each year's rate, and its difference from all earlier years."""
    rows = material.rows("audit.year")
    lines = []
    for subset, of in rows[rows["subset"].ne("all")].groupby("subset", sort=False):
        term = of.set_index("term", drop=False)
        if "rate" not in term.index or missing(term.loc["rate"]["estimate"]):
            continue
        rate, change = term.loc["rate"], term.loc["difference"]
        told = "" if missing(change["estimate"]) else change_words(change)
        keys = "; ".join(trace_of(row) for row in (rate, change) if not missing(row["estimate"]))
        torn = share_of(rate["n_events"], rate["n_sites"])
        lines.append((str(subset).partition("=")[2], torn, estimate(rate), told, p_value(change["p_value"]), keys))
    heads = ("year", "torn", "rate", "change", "p")
    return content_of((*(say(f"audit.head_{name}") for name in heads), TRACE), lines, say("audit.years_note"))


def change_words(row: pd.Series) -> str:
    """`+1.1 (−5.9 to +8.1)`, of 100 sites."""
    value, low, high = (signed(row[name]) for name in ("estimate", "conf_low", "conf_high"))
    return say("audit.with_interval", value=value, low=low, high=high)


def learning_table(material: Material, words: Words) -> Content | None:
    """The standardised risk at case numbers."""
    rows = material.quoted("audit.learning")
    if not may_be_drawn(rows):
        return None
    lines = [(str(row["term"]), estimate(row), trace_of(row)) for _, row in rows.iterrows()]
    return content_of((say("audit.head_case"), say("audit.head_risk"), TRACE), lines, say("audit.learning_note"))
