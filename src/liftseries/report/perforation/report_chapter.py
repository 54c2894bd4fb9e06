"""The membrane: the chapter of the report."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block
from liftseries.report.kit.writer import Writer
from liftseries.report.perforation.recorded import recorded_sentences
from liftseries.report.perforation.sentences import (
    height_sentences,
    may_be_compared,
    paragraph,
    share_row,
    share_sentences,
    unseen_sentences,
)


def blocks(writer: Writer) -> Iterable[Block]:
    """How often, by height, what was recorded of perforations, and what unseen ones would do to the share."""
    material = writer.material
    yield from paragraph(share_sentences(material))
    yield from writer.table("perforation_few_cases")
    if not may_be_compared(share_row(material)):
        return
    yield from writer.figure("perforation_shares")
    yield from paragraph(height_sentences(material))
    yield from writer.figure("risk_curves")
    yield from paragraph(recorded_sentences(material))
    yield from writer.table("tears")
    yield from paragraph(unseen_sentences(material))
