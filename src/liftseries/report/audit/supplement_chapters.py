"""The chapters of the audit's supplement."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.numbers import decimal, exponent, missing, p_value, percent, ratio
from liftseries.report.kit.words import trace_of
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say


def views(writer: Writer) -> Iterable[Block]:
    """Flags by view, then each unit in every view."""
    yield from writer.table("audit_chance")
    yield from writer.table("audit_views")


def between(writer: Writer) -> Iterable[Block]:
    """Scatter beyond chance, and rates drawn to the mean of all."""
    scatter = writer.material.quoted("audit.overdispersion").set_index("term", drop=False)
    if {"statistic", "expected"} <= set(scatter.index):
        row, expected = scatter.loc["statistic"], scatter.loc["expected"]
        text = say(
            "audit.overdispersion",
            statistic=decimal(row["estimate"], 1),
            expected=decimal(expected["estimate"], 1),
            p=p_value(row["p_value"]),
        )
        yield Paragraph(text, "; ".join(map(trace_of, (row, expected))), lead=say("audit.lead_scatter"))
    effects = writer.material.rows("audit.random_effects", "all")
    of = {str(row["term"]): row for _, row in effects.iterrows() if not missing(row["estimate"])}
    if {"tau", "prediction_low", "prediction_high"} <= set(of):
        text = say(
            "audit.random_effects",
            ratio=ratio(exponent(float(of["tau"]["estimate"]))),
            low=percent(of["prediction_low"]["estimate"]),
            high=percent(of["prediction_high"]["estimate"]),
        )
        yield Paragraph(text, "; ".join(map(trace_of, of.values())), lead=say("audit.lead_effects"))
    yield from writer.table("audit_shrunken")


def indicators(writer: Writer) -> Iterable[Block]:
    """Who counted for each indicator, and how it is defined."""
    yield from writer.figure("audit_strips")
    yield from writer.table("audit_strips")
    yield from writer.table("audit_definitions")


def charts(writer: Writer) -> Iterable[Block]:
    """Charts, years and case numbers in figures."""
    for name in ("audit_charts", "audit_years", "audit_learning"):
        yield from writer.table(name)


def published(writer: Writer) -> Iterable[Block]:
    """The published series one by one."""
    yield from writer.figure("audit_benchmark")


def methods(writer: Writer) -> Iterable[Block]:
    """How it was worked out."""
    audit, p = writer.material.asked["audit"], writer.material.asked
    for name in (
        "clustered",
        "views",
        "limits",
        "needed",
        "scatter",
        "charts",
        "learning",
        "years",
        "indicators",
        "benchmark",
    ):
        holes = {
            "limits": {"alert": audit["alert_sd"], "alarm": audit["alarm_sd"]},
            "charts": {
                "ratio": audit["odds_ratio"],
                "cases": int(audit["cusum_cases"]),
                "share": 100 * audit["false_alarm"],
                "seed": p["seed"],
            },
            "views": {
                "terms": [writer.material.words.column(name) for name in audit["case_mix"]] or [say("audit.no_term")]
            },
        }.get(name, {})
        yield Paragraph(say(f"audit_methods.{name}", **holes), lead=say(f"audit_methods.lead_{name}"))


def left_out(writer: Writer) -> Iterable[Block]:
    """Sites that analyses left out, and why."""
    yield from writer.table("left_out")
