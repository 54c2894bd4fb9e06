"""Made-up units of an audit: rows of results.csv and tables for its chapters; nothing here stems from a patient."""

from __future__ import annotations

import math

import pandas as pd
from made_series import PLAN

from liftseries.models.shared.results import RESULT_COLUMNS
from liftseries.report.kit.material import COLUMNS, Material
from liftseries.report.kit.writer import write
from liftseries.report.purposes import purpose

VIEWS = ("clustered", "binomial", "case_mix")
STAGE = {"name": "Confidential talk", "who": "chair", "working_days": 10, "what": "Talk."}
AUDIT = {
    "by": "operator",
    "period": [2024],
    "centre": "series",
    "standard": None,
    "case_mix": ["rbh_mid_mm"],
    "alert_sd": 2,
    "alarm_sd": 3,
    "odds_ratio": 2,
    "false_alarm": 0.05,
    "cusum_cases": 100,
    "policy": {"flag_means": "A reason to look.", "stages": [STAGE]},
}


def result(analysis: str, subset: str, term: str, estimate: float, method: str = "", **more) -> dict:
    """A row of results.csv."""
    row = dict.fromkeys(RESULT_COLUMNS) | {"analysis": analysis, "subset": subset, "term": term, "method": method}
    return row | {"estimate": estimate, "note": "", "problem": "", "scale": "risk", "headline": True} | more


def unit_rows(
    name: str, events: int, sites: int, flags: tuple[int, int, int] = (0, 0, 0), needed: float = 200.0
) -> list:
    """The rows of a unit in the three views."""
    counts = {"n_events": events, "n_sites": sites, "n_patients": sites}
    rows = []
    for view, flag in zip(VIEWS, flags, strict=True):
        values = {
            "expected": 0.08,
            "upper_alert": 0.2,
            "upper_alarm": 0.3,
            "flag": flag,
            "false_flag": 0.02,
            "false_alarm_flag": 0.001,
        }
        values |= {"needed_sites": needed, "years": 5.0} if view == "clustered" else {}
        rows += [result("audit.funnel", f"operator={name}", term, v, view, **counts) for term, v in values.items()]
        share, limits = (
            events / sites,
            {"conf_low": 0.5 * events / sites, "conf_high": min(1.0, 0.1 + 1.5 * events / sites)},
        )
        rows.append(result("audit.funnel", f"operator={name}", "rate", share, view, **counts, **limits))
    return rows


def all_rows(flags: int, sites: int = 240, events: int = 24) -> list:
    values = {"flags": flags, "expected_flags": 0.2, "any_flag": 0.18}
    values |= {"alarm_flags": 1, "expected_alarm_flags": 0.01, "any_alarm_flag": 0.01}
    counts = {"n_events": events, "n_sites": sites, "n_patients": sites}
    return [result("audit.funnel", "all", term, value, "clustered", **counts) for term, value in values.items()]


def strip_row(unit: str, indicator: str, events: int, counted: int, low: float, high: float, **more) -> dict:
    value = events / counted if counted else math.nan
    row = {"unit": unit, "indicator": indicator, "counts": "sites", "good": "high", "counted": counted, "unknown": 1}
    row |= {"not_applicable": 0, "not_due": 2, "n_events": events, "value": value, "conf_low": low, "conf_high": high}
    row |= {"months": math.nan, "standard": math.nan, "standard_kind": "none", "verdict": None, "enough": True}
    return row | {"title": None, "standard_source": None, "standard_date": None} | more


STRIPS = [
    strip_row("all", "perforation", 24, 240, 0.07, 0.14, good="low"),
    strip_row("A", "perforation", 14, 60, 0.15, 0.35, good="low"),
    strip_row("all", "probed", 180, 240, 0.7, 0.8),
    strip_row("A", "probed", 55, 60, 0.8, 0.97),
    strip_row("B", "probed", 0, 60, 0.0, 0.1),
    strip_row("C", "probed", 3, 8, 0.1, 0.7, enough=False),
    strip_row("all", "cases_received", 240, 250, math.nan, math.nan, counts="cases"),
    strip_row("A", "cases_received", 60, 60, math.nan, math.nan, counts="cases"),
]
UNITS = [
    *unit_rows("A", 14, 60, (2, 2, 2)),
    *unit_rows("B", 12, 60, (2, 2, 1)),
    *unit_rows("C", 1, 8),
    *unit_rows("D", 9, 112),
]
TABLES = {
    "audit_indicator_strips": pd.DataFrame(STRIPS),
    "audit_received": pd.DataFrame(
        [("A", 2024, 60, 60), ("B", 2024, 70, 60), ("C", 2024, 8, 3), ("E", 2024, 6, 0)],
        columns=["unit", "year", "expected", "received"],
    ),
}


def material(rows: list | None = None, audit: dict | None = None, **tables) -> Material:
    """What a report is made from, with these rows of results.csv and these tables."""
    rows = [*UNITS, *all_rows(2)] if rows is None else rows
    plan = PLAN | {"plan": PLAN["plan"] | {"audit": AUDIT | (audit or {})}, "sharing": {"smallest_cell": 5}}
    plan |= {"study": PLAN["study"] | {"data_until": "2025-12"}}
    empty = {name: pd.DataFrame(columns=columns.split()) for name, columns in COLUMNS.items()}
    empty["left_out"] = pd.DataFrame(columns=["analysis", "subset", "reason", "n_sites"])
    results = pd.DataFrame(rows, columns=list(RESULT_COLUMNS))
    return Material(plan, {}, {}, empty | TABLES | {"results": results} | tables)


def chart_rows(unit: str, method: str, signals: int, expected: float, n: int = 60) -> list:
    values = {
        "signals": signals,
        "expected_signals": expected,
        "run_length": 90,
        "limit": 3.0,
        "achieved_false_alarm": 0.1,
    }
    values |= {"first_signal": 41} if signals else {}
    counts = {"n_sites": n, "n_patients": n, "n_events": 14}
    return [result("audit.cusum", f"operator={unit}", term, value, method, **counts) for term, value in values.items()]


def page(made: Material) -> list[str]:
    """The texts of the first page."""
    blocks = write(purpose("audit"), made).reports[0].chapters[0].blocks
    texts = []
    for block in blocks:
        if block.kind == "answers":
            texts += [text for one in block.items for text in (one.lead, one.text, one.sure)]
        elif block.kind == "table":
            texts += [cell for row in block.display.rows for cell in row]
        elif block.kind == "listing":
            texts += [block.text, *block.items]
        else:
            texts.append(block.text)
    return texts
