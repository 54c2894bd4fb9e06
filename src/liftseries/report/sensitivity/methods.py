"""How it is asked what could change the answers: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.sensitivity.icc import OF_PATIENT, OF_SITE
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say
from liftseries.report.sensitivity.quoted import icc_rows

OF_TABLES = {"evalues": "evalue", "detection": "detection", "lost_implants": "lost"}


def of_sensitivity(writer: Writer) -> Iterable[Paragraph]:
    """How alike sites are, and what could change the answers, as far as the supplement asks it."""
    if "intraclass_correlation" in writer.tables:
        of_gain = icc_rows(writer.material)["method"].isin([OF_PATIENT, OF_SITE]).any()
        alike = [say("sensitivity.method_alike"), *([say("sensitivity.method_alike_gain")] if of_gain else [])]
        yield Paragraph(" ".join(alike), lead=say("sensitivity.method_alike_lead"))
    told = [say(f"sensitivity.method_{name}") for table, name in OF_TABLES.items() if table in writer.tables]
    if told:
        yield Paragraph(" ".join(told), lead=say("sensitivity.method_change_lead"))
