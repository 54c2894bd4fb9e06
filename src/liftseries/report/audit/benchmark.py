"""The series beside published ones: context, never a limit."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pandas as pd

from liftseries.report.audit.indicators import ALL, PERFORATION, strip, strips_of
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.figures.forest import Axis, Line, draw_forest
from liftseries.report.kit.figures.style import Drawing, drawn
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import missing, percent
from liftseries.report.kit.words import trace_of
from liftseries.report.languages.say import say

ANALYSIS = "audit.benchmark"


@drawn
def draw_audit_benchmark(
    benchmark: pd.DataFrame, published: pd.DataFrame, strips: pd.DataFrame, narrow: bool = False
) -> Drawing | None:
    """The published shares, pooled, the prediction for a further series, and this one.

    Parameters
    ----------
    benchmark : rows of `audit.benchmark`
    published : a row a published series
    strips : `audit_indicator_strips`, which holds the series' own rate
    narrow : at the width of one column
    """
    own = strip(strips, ALL, PERFORATION)
    if published.empty or own is None or missing(own["value"]):
        return None
    lines = [_published(row) for _, row in published.iterrows()]
    of = _of(benchmark)
    if of:
        pooled = tuple(map(_share, (of["pooled"][name] for name in ("estimate", "conf_low", "conf_high"))))
        lines.append(Line(say("audit.pooled"), (_numbers(*pooled),), *pooled))
        low, high = (float(of[name]["estimate"]) for name in ("prediction_low", "prediction_high"))
        lines.append(
            Line(
                say("audit.prediction"),
                (say("audit.between", low=percent(low), high=percent(high)),),
                math.nan,
                low,
                high,
            )
        )
        lines[-1] = Line(lines[-1].label, lines[-1].columns, pooled[0], low, high, open_marker=True)
    values = tuple(float(own[name]) for name in ("value", "conf_low", "conf_high"))
    lines.append(Line(say("audit.this_series"), (_numbers(*values),), *values))
    alt = say("audit.alt_benchmark", n=len(published), own=percent(values[0]))
    drawing = draw_forest(
        lines, (say("audit.head_share"),), Axis(say("audit.axis_published"), percent=True), alt, narrow=narrow
    )
    sinuses = {
        "n": len(published),
        "sinuses": int(published["denominator"].sum()),
        "events": int(published["events"].sum()),
    }
    return Drawing(drawing.figure, drawing.alt, say("audit.covers_published", **sinuses))


def _of(rows: pd.DataFrame) -> dict[str, pd.Series]:
    """Term -> row, of those with an estimate; empty where they were not pooled."""
    found = {str(row["term"]): row for _, row in rows.iterrows() if not missing(row["estimate"])}
    return found if {"pooled", "prediction_low", "prediction_high"} <= set(found) else {}


def _published(row: pd.Series) -> Line:
    share = float(row["events"]) / float(row["denominator"])
    name = say("audit.published", source=str(row["citation"]).partition(" (")[0], group=row["group"])
    return Line(name, (f"{int(row['events'])}/{int(row['denominator'])}",), share, open_marker=True)


def _share(log_odds: float) -> float:
    return 1 / (1 + math.exp(-float(log_odds)))


def _numbers(value: float, low: float, high: float) -> str:
    return say("audit.with_interval", value=percent(value), low=percent(low), high=percent(high))


def benchmark_told(material: Material) -> Iterator[Paragraph]:
    """The pooled rate, the prediction, this series, and how far they can be compared."""
    of, own = _of(material.rows(ANALYSIS)), strip(strips_of(material), ALL, PERFORATION)
    if not of or own is None or missing(own["value"]):
        return
    published, place = material.table("audit_published"), of.get("percentile")
    text = say(
        "audit.benchmark",
        n=len(published),
        pooled=_numbers(*map(_share, (of["pooled"][name] for name in ("estimate", "conf_low", "conf_high")))),
        low=percent(of["prediction_low"]["estimate"]),
        high=percent(of["prediction_high"]["estimate"]),
        own=_numbers(*(float(own[name]) for name in ("value", "conf_low", "conf_high"))),
    )
    if place is None:  # too few tears in the series to place it
        yield Paragraph(" ".join((text, say("audit.benchmark_differs"))), "; ".join(map(trace_of, of.values())))
        return
    within = of["prediction_low"]["estimate"] <= own["value"] <= of["prediction_high"]["estimate"]
    rows = [row for row in (*of.values(), place) if row is not None]
    keys = "; ".join(dict.fromkeys(map(trace_of, rows)))
    yield Paragraph(" ".join((text, say("audit.benchmark_within" if within else "audit.benchmark_outside"))), keys)
    yield Paragraph(say("audit.benchmark_differs"))
