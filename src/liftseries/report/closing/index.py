"""The index: every row of results.csv and where it is printed.

Rows of one analysis that stand in the same places share a line: first their terms, then the subsets that have the same
terms, then the methods that have the same subsets, so that an index of a thousand rows is read on a few pages. A name
here is one of results.csv: that is what is looked up.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from liftseries.models.questions import questions_for
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.words import trace_of
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

CHAPTER = re.compile(r"[A-Z]?\d+")
HEADINGS = ("Analysis", "Method", "Subset", "Term", "Printed in")


@dataclass(frozen=True)
class Line:
    """Rows of results.csv that are alike in analysis and places; every term in every subset by every method."""

    analysis: str
    methods: tuple[str, ...]
    subsets: tuple[str, ...]
    terms: tuple[str, ...]
    places: tuple[str, ...]


def index(writer: Writer) -> Iterable[Block]:
    """Every row of results.csv that the purpose asked for, and where it is printed."""
    results = asked_by(writer.purpose.name, writer.material.results)
    if results.empty:
        return
    yield Paragraph(say("closing.index"))
    lines = [*lines_of(results, writer.printed), *design_effects(results, writer.printed)]
    yield writer.own_table("index", "Rows of results.csv.", HEADINGS, map(cells, lines), "results.csv")


def asked_by(purpose: str, results: pd.DataFrame) -> pd.DataFrame:
    """The rows of the questions of a purpose: one run may ask for several."""
    own = {analysis.name for question in questions_for([purpose]) for analysis in question.analyses}
    named = results["analysis"].where(results["analysis"].ne(DESIGN_EFFECT), results["term"].map(_analysis_of))
    return results[named.isin(own)]


def cells(line: Line) -> tuple[str, ...]:
    """A line as it is printed."""
    places = ", ".join(map(_place, line.places)) or say("closing.index_none")
    return (line.analysis, ", ".join(line.methods), in_short(line.subsets), terms_in_short(line.terms), places)


def _place(place: str) -> str:
    """`chapter S4` where a place is the number of a chapter."""
    return say("closing.index_chapter", number=place) if CHAPTER.fullmatch(place) else place


def in_short(subsets: Sequence[str]) -> str:
    """`all, protocol=A/B/C`: the levels of a column behind its name once."""
    by_column: dict[str, list[str]] = {}
    for subset in subsets:
        column, _, level = subset.partition("=")
        by_column.setdefault(column, []).append(level)
    return ", ".join(column + ("=" + "/".join(levels) if any(levels) else "") for column, levels in by_column.items())


def terms_in_short(terms: Sequence[str]) -> str:
    """`rbh_mid_mm, septum[yes]`; `fluid_ml n, mean; graft_ml n`: what terms begin with once."""
    by_head: dict[str, list[str]] = {}
    for term in terms:
        head, _, rest = term.partition(" ")
        by_head.setdefault(head if rest else "", []).append(rest or term)
    return "; ".join(f"{head} {', '.join(rest)}".strip() for head, rest in by_head.items())


def lines_of(results: pd.DataFrame, printed: Mapping[str, Sequence[str]]) -> list[Line]:
    """The lines of all rows but the design effects, in the order of results.csv."""
    rows = results[results["analysis"].ne(DESIGN_EFFECT)]
    terms: dict[tuple, list[str]] = {}
    for _, row in rows.iterrows():
        method = "" if pd.isna(row["method"]) else str(row["method"])
        place = (row["analysis"], method, row["subset"], tuple(printed.get(trace_of(row), ())))
        terms.setdefault(place, []).append(str(row["term"]))
    subsets: dict[tuple, list[str]] = {}
    for (analysis, method, subset, places), of_place in terms.items():
        subsets.setdefault((analysis, method, tuple(of_place), places), []).append(subset)
    methods: dict[tuple, list[str]] = {}
    for (analysis, method, of_place, places), alike in subsets.items():
        methods.setdefault((analysis, tuple(alike), of_place, places), []).append(method)
    lines = [Line(place[0], tuple(of), *place[1:]) for place, of in methods.items()]
    order = {name: k for k, name in enumerate(dict.fromkeys(rows["analysis"]))}
    return sorted(lines, key=lambda line: order[line.analysis])


def design_effects(results: pd.DataFrame, printed: Mapping[str, Sequence[str]]) -> list[Line]:
    """A line for the design effects of each analysis."""
    rows = results[results["analysis"].eq(DESIGN_EFFECT)]
    lines = []
    for analysis, of_analysis in rows.groupby(rows["term"].map(_analysis_of), sort=False):
        places = dict.fromkeys(place for _, row in of_analysis.iterrows() for place in printed.get(trace_of(row), ()))
        told = say("closing.index_design_effects", analysis=analysis, n=len(of_analysis))
        lines.append(Line(DESIGN_EFFECT, (), (), (told,), tuple(places)))
    return lines


def _analysis_of(term: str) -> str:
    """The analysis whose row a design effect is of: `perforation.rate rate`."""
    return str(term).partition(" ")[0]
