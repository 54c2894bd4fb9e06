"""The chapters of the supplement: methods, balance, every difference by every method, sites left out."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.comparison.compared import comparison_of
from liftseries.report.comparison.tables import INVERSE_PROBABILITY, disagreeing
from liftseries.report.kit.blocks import Block, Listing, Paragraph
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

METHODS = (
    *("population", "weights", "errors", "headline", "operators", "doubts"),
    *("survival", "gain", "depth", "sample", "unseen"),
)


def methods(writer: Writer) -> Iterable[Block]:
    """How everything was worked out, a paragraph a topic."""
    comparison = comparison_of(writer.material)
    if comparison.why_nothing:
        return
    terms = (
        say("comparison_methods.terms", terms=comparison.terms)
        if comparison.terms
        else say("comparison_methods.terms_none")
    )
    holes = {"population": {"terms": terms}, "survival": {"month": comparison.month}}
    for name in METHODS:
        text = say(f"comparison_methods.{name}", **holes.get(name, {}))
        yield Paragraph(text, lead=say(f"comparison_methods.lead_{name}"))
    if INVERSE_PROBABILITY in comparison.asked["weights"]:
        yield Paragraph(say("comparison_methods.inverse"), lead=say("comparison_methods.lead_inverse"))


def balance(writer: Writer) -> Iterable[Block]:
    """The balance of each term."""
    table = writer.table("comparison_balance")
    if table:
        yield Paragraph(say("comparison_supplement.balance_read"))
    yield from table


def by_method(writer: Writer) -> Iterable[Block]:
    """Each difference by every method, and where g-computation disagrees."""
    comparison, table = comparison_of(writer.material), writer.table("comparison_by_method")
    if not table:
        return
    told = disagreeing(comparison)
    if told:
        yield Listing(say("comparison_supplement.disagreeing"), tuple(told))
    else:
        yield Paragraph(say("comparison_supplement.agrees"))
    yield from table


def left_out(writer: Writer) -> Iterable[Block]:
    """Sites that each outcome left out, and why."""
    table = writer.table("comparison_left_out")
    if table:
        yield Paragraph(say("comparison_supplement.left_out_read"))
    yield from table
