"""How it is asked what could change the answers: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

OF_TABLES = {"evalues": "evalue", "detection": "detection", "lost_implants": "lost"}


def of_sensitivity(writer: Writer) -> Iterable[Paragraph]:
    """How alike sites are, and what could change the answers, as far as the supplement asks it."""
    if "intraclass_correlation" in writer.tables:
        yield Paragraph(say("sensitivity.method_alike"), lead=say("sensitivity.method_alike_lead"))
    told = [say(f"sensitivity.method_{name}") for table, name in OF_TABLES.items() if table in writer.tables]
    if told:
        yield Paragraph(" ".join(told), lead=say("sensitivity.method_change_lead"))
