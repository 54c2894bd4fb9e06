"""The chapters of the audit's report."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.audit.benchmark import benchmark_told
from liftseries.report.audit.cycle import changes_told
from liftseries.report.audit.findings import signals_of_all
from liftseries.report.audit.unit_tables import series_told
from liftseries.report.audit.units import CUSUM, units, why_not
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.numbers import decimal, missing
from liftseries.report.kit.sentences import small
from liftseries.report.kit.words import trace_of
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say


def units_apart(writer: Writer) -> Iterable[Block]:
    """The series against the standard, then the units against each other."""
    material = writer.material
    text, keys = series_told(material)
    yield Paragraph(text, keys, lead=say("audit.lead_series"))
    if problem := why_not(material):
        yield Paragraph(say("audit.not_judged", why=small(problem)))
        return
    yield Paragraph(say("audit.funnel"), lead=say("audit.lead_units"))
    yield from writer.figure("audit_funnel")
    yield from writer.table("audit_units")


def where_to_look(writer: Writer) -> Iterable[Block]:
    """The matrix."""
    figure = writer.figure("audit_matrix")
    if figure:
        yield Paragraph(say("audit.matrix"))
        yield from figure


def over_time(writer: Writer) -> Iterable[Block]:
    """Observed less expected, signals, years, learning."""
    material = writer.material
    rows = material.quoted(CUSUM)
    figure = writer.figure("audit_course")
    if figure:
        seen, by_chance, charts = signals_of_all(rows)
        of_signals = rows[rows["term"].isin(["signals", "expected_signals"])]
        text = say("audit.signals", n=int(seen), charts=charts, expected=decimal(by_chance, 1))
        yield Paragraph(
            text, "; ".join(trace_of(row) for _, row in of_signals.iterrows()), lead=say("audit.lead_signals")
        )
        yield from figure
        yield from changes_told(material)
    elif units(material):
        problems = [one for one in material.rows(CUSUM)["problem"] if not missing(one) and one]
        if problems:
            yield Paragraph(say("audit.no_charts", why=small(material.words.problem(str(problems[0])))))
    yield from writer.figure("audit_years")
    learning = writer.figure("audit_learning")
    if learning:
        yield from learning
        yield Paragraph(say("audit.learning"))


def published(writer: Writer) -> Iterable[Block]:
    """The benchmark in words."""
    yield from benchmark_told(writer.material)
