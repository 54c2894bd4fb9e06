"""What could change the answers, and how alike sites are: two chapters of the supplement."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say
from liftseries.report.sensitivity.declarations import SECOND_OPINION
from liftseries.report.sensitivity.sentences import effects_sentence, lost_sentence, opinion_sentence


def blocks(writer: Writer) -> Iterable[Block]:
    """Unmeasured causes, overlooked perforations, loss to follow-up, a second opinion; nothing over nothing."""
    material = writer.material
    yield from _introduced(writer, "evalues", say("sensitivity.evalue"))
    yield from _introduced(writer, "detection", say("sensitivity.detection"))
    yield from _introduced(writer, "detection_contrast", say("sensitivity.contrast"))
    yield from filter(None, (lost_sentence(material),))
    yield from writer.table("lost_implants")
    yield from filter(None, (opinion_sentence(material, SECOND_OPINION.name),))


def clustering(writer: Writer) -> Iterable[Block]:
    """Intraclass correlations, and what clustering makes of the variances."""
    yield from _introduced(writer, "intraclass_correlation", say("sensitivity.icc"))
    yield from filter(None, (effects_sentence(writer.material),))


def _introduced(writer: Writer, table: str, text: str) -> Iterable[Block]:
    """A table with the sentence before it; neither where it has no rows."""
    if table in writer.tables:
        yield Paragraph(text)
        yield from writer.table(table)
