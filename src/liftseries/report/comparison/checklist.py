"""Where to find what: the items of STROBE and of TARGET, in words of our own.

TARGET is the statement on observational studies that emulate a target trial (Cashin and others 2025); its items are
from memory and neither wording nor order was compared with the printed list.
"""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.closing.checklist import places_of
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

REPORT, SUPPLEMENT = "report", "supplement"
ANSWERS, GROUPS, DIFFERS, DRILLED = ((REPORT, name) for name in ("answers", "groups", "differences", "as-drilled"))
METHODS, BALANCE, BY_METHOD, LEFT = ((SUPPLEMENT, name) for name in ("methods", "balance", "by-method", "left-out"))
STROBE = (
    ("1", "closing.item_summary", (ANSWERS,)),
    ("2", "closing.item_background", ()),
    ("3", "closing.item_objectives", (ANSWERS,)),
    ("4", "closing.item_design", (ANSWERS, METHODS)),
    ("5", "closing.item_setting", (GROUPS,)),
    ("6", "closing.item_participants", (GROUPS, LEFT)),
    ("7", "closing.item_variables", (METHODS,)),
    ("8", "closing.item_measurement", (METHODS,)),
    ("9", "closing.item_bias", (ANSWERS, GROUPS)),
    ("10", "closing.item_size", (ANSWERS,)),
    ("11", "closing.item_quantities", (METHODS,)),
    ("12 a, b", "closing.item_adjustment", (METHODS,)),
    ("12 c, d", "closing.item_gaps", (METHODS, LEFT)),
    ("12 e", "closing.item_sensitivity", (BY_METHOD, DRILLED)),
    ("13", "comparison_supplement.item_numbers", (ANSWERS, LEFT)),
    ("14", "closing.item_described", (GROUPS,)),
    ("15", "closing.item_outcomes", (DIFFERS,)),
    ("16", "closing.item_results", (ANSWERS, DIFFERS)),
    ("17", "comparison_supplement.item_further", (DRILLED, BY_METHOD)),
    ("18", "closing.item_key", (ANSWERS,)),
    ("19", "closing.item_limits", (ANSWERS,)),
    ("20", "closing.item_interpretation", ()),
    ("21", "closing.item_generalisability", ()),
    ("22", "closing.item_funding", ()),
)
TARGET = (
    ("comparison_supplement.target_emulates", (ANSWERS,)),
    ("comparison_supplement.target_background", ()),
    ("comparison_supplement.target_question", (ANSWERS,)),
    ("comparison_supplement.target_source", (GROUPS,)),
    ("comparison_supplement.target_eligible", (METHODS, LEFT)),
    ("comparison_supplement.target_strategies", (ANSWERS,)),
    ("comparison_supplement.target_assignment", (METHODS,)),
    ("comparison_supplement.target_follow_up", (METHODS,)),
    ("comparison_supplement.target_outcomes", (METHODS,)),
    ("comparison_supplement.target_contrast", (METHODS, DRILLED)),
    ("comparison_supplement.target_assumptions", (METHODS, GROUPS)),
    ("comparison_supplement.target_analysis", (METHODS,)),
    ("comparison_supplement.target_selection", (LEFT,)),
    ("comparison_supplement.target_baseline", (GROUPS, BALANCE)),
    ("comparison_supplement.target_followed", (DIFFERS,)),
    ("comparison_supplement.target_missing", (LEFT,)),
    ("comparison_supplement.target_effects", (ANSWERS, DIFFERS)),
    ("comparison_supplement.target_further", (DRILLED, BY_METHOD)),
    ("comparison_supplement.target_limits", (ANSWERS,)),
    ("comparison_supplement.target_interpretation", ()),
    ("comparison_supplement.target_registered", (ANSWERS,)),
    ("comparison_supplement.target_rest", ()),
)


def checklist(writer: Writer) -> Iterable[Block]:
    """The items of both, each with its places."""
    strobe = ((say("closing.checklist_item", number=number, text=say(name)), places) for number, name, places in STROBE)
    yield Paragraph(say("closing.checklist"))
    yield places_of(writer, strobe)
    yield Paragraph(say("comparison_supplement.target"))
    yield places_of(writer, ((say(name), places) for name, places in TARGET))
