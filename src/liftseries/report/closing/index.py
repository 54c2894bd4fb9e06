"""The index: every row of results.csv and where it is printed.

Rows of one analysis and method that stand in the same places share a line, and so do groups whose lines are alike, so
that an index of a thousand rows is read on a few pages. A name here is one of results.csv: that is what is looked up.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.writer import Writer
from liftseries.report.kit.words import trace_of
from liftseries.report.languages.say import say

HEADINGS = ("Analysis", "Method", "Subset", "Term", "Printed in")


@dataclass(frozen=True)
class Line:
    """Rows of results.csv that are alike in analysis, method and places; every term in every subset."""

    analysis: str
    method: str
    subsets: tuple[str, ...]
    terms: tuple[str, ...]
    places: tuple[str, ...]


def index(writer: Writer) -> Iterable[Block]:
    """Every row of results.csv and where it is printed."""
    results = writer.material.results
    if results.empty:
        return
    yield Paragraph(say("closing.index"))
    lines = [*lines_of(results, writer.printed), *design_effects(results, writer.printed)]
    yield writer.own_table("index", "Rows of results.csv.", HEADINGS, map(cells, lines))


def cells(line: Line) -> tuple[str, ...]:
    """A line as it is printed."""
    places = ", ".join(line.places) or say("closing.index_none")
    return (line.analysis, line.method, in_short(line.subsets), ", ".join(line.terms), places)


def in_short(subsets: Sequence[str]) -> str:
    """`all, protocol=A/B/C`: the levels of a column behind its name once."""
    by_column: dict[str, list[str]] = {}
    for subset in subsets:
        column, _, level = subset.partition("=")
        by_column.setdefault(column, []).append(level)
    return ", ".join(column + ("=" + "/".join(levels) if any(levels) else "") for column, levels in by_column.items())


def lines_of(results: pd.DataFrame, printed: Mapping[str, Sequence[str]]) -> list[Line]:
    """The lines of all rows but the design effects, in the order of results.csv."""
    rows = results[results["analysis"].ne(DESIGN_EFFECT)]
    terms: dict[tuple, list[str]] = {}
    for _, row in rows.iterrows():
        method = "" if pd.isna(row["method"]) else str(row["method"])
        place = (row["analysis"], method, row["subset"], tuple(printed.get(trace_of(row), ())))
        terms.setdefault(place, []).append(str(row["term"]))
    lines: dict[tuple, Line] = {}
    for (analysis, method, subset, places), of_place in terms.items():
        alike = (analysis, method, tuple(of_place), places)
        line = lines.setdefault(alike, Line(analysis, method, (), tuple(of_place), places))
        lines[alike] = replace(line, subsets=(*line.subsets, subset))
    order = {name: k for k, name in enumerate(dict.fromkeys(rows["analysis"]))}
    return sorted(lines.values(), key=lambda line: order[line.analysis])


def design_effects(results: pd.DataFrame, printed: Mapping[str, Sequence[str]]) -> list[Line]:
    """A line for the design effects of each analysis."""
    rows = results[results["analysis"].eq(DESIGN_EFFECT)]
    lines = []
    for analysis, of_analysis in rows.groupby(rows["term"].str.partition(" ")[0], sort=False):
        places = dict.fromkeys(place for _, row in of_analysis.iterrows() for place in printed.get(trace_of(row), ()))
        told = f"{analysis}: {say('closing.index_design_effects', n=len(of_analysis))}"
        lines.append(Line(DESIGN_EFFECT, "", (), (told,), tuple(places)))
    return lines
