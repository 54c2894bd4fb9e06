"""Where to find what: the items of a reporting checklist for observational studies.

In words of our own after STROBE (von Elm and others 2007, doi:10.1016/j.jclinepi.2007.11.008). The numbering of the
items is from memory and was not compared with the printed list.
"""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph, Places
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

REPORT, SUPPLEMENT = "report", "supplement"
OUTCOMES = ((REPORT, "adherence"), (REPORT, "membrane"), (REPORT, "implants"), (REPORT, "bone"))
# Number of the item, its words, where it stands: document and chapter.
ITEMS = (
    ("1", "closing.item_summary", ((REPORT, "answers"),)),
    ("2", "closing.item_background", ()),
    ("3", "closing.item_objectives", ((REPORT, "answers"),)),
    ("4", "closing.item_design", ((REPORT, "series"), (SUPPLEMENT, "methods"))),
    ("5", "closing.item_setting", ((REPORT, "series"),)),
    ("6", "closing.item_participants", ((REPORT, "series"), (SUPPLEMENT, "characteristics-and-gaps"))),
    ("7", "closing.item_variables", ((SUPPLEMENT, "methods"),)),
    ("8", "closing.item_measurement", ((SUPPLEMENT, "methods"), (SUPPLEMENT, "depth"))),
    ("9", "closing.item_bias", ((REPORT, "limits"), (SUPPLEMENT, "sensitivity"))),
    ("10", "closing.item_size", ((REPORT, "series"), (SUPPLEMENT, "clustering"))),
    ("11", "closing.item_quantities", ((SUPPLEMENT, "methods"),)),
    ("12 a, b", "closing.item_adjustment", ((REPORT, "limits"), (SUPPLEMENT, "methods"))),
    ("12 c, d", "closing.item_gaps", ((SUPPLEMENT, "methods"), (SUPPLEMENT, "characteristics-and-gaps"))),
    ("12 e", "closing.item_sensitivity", ((SUPPLEMENT, "methods"), (SUPPLEMENT, "sensitivity"))),
    ("13", "closing.item_flow", ((REPORT, "series"),)),
    ("14 a, b", "closing.item_described", ((REPORT, "series"), (SUPPLEMENT, "characteristics-and-gaps"))),
    ("14 c", "closing.item_followed", ((REPORT, "implants"), (SUPPLEMENT, "survival"))),
    ("15", "closing.item_outcomes", OUTCOMES),
    ("16", "closing.item_results", (*OUTCOMES, (REPORT, "associations"))),
    (
        "17",
        "closing.item_further",
        tuple(
            (SUPPLEMENT, name) for name in ("perforation", "prediction", "survival", "hazards", "gain", "sensitivity")
        ),
    ),
    ("18", "closing.item_key", ((REPORT, "answers"),)),
    ("19", "closing.item_limits", ((REPORT, "limits"), (SUPPLEMENT, "sensitivity"))),
    ("20", "closing.item_interpretation", ()),
    ("21", "closing.item_generalisability", ()),
    ("22", "closing.item_funding", ()),
)


def checklist(writer: Writer) -> Iterable[Block]:
    """The items, each with its places."""
    items = ((say("closing.checklist_item", number=number, text=say(name)), places) for number, name, places in ITEMS)
    yield Paragraph(say("closing.checklist"))
    yield places_of(writer, items)


def places_of(writer: Writer, items: Iterable[tuple[str, Iterable[tuple[str, str]]]]) -> Places:
    """Items in words, each with those of its places, document and chapter, that this run has."""
    found = tuple((text, tuple(filter(None, (writer.place(*place) for place in places)))) for text, places in items)
    return Places((say("closing.item_heading"), say("closing.item_places")), found)
