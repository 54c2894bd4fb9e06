"""What bone was gained: the chapter, block by block."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.gain.questions import QUESTIONS
from liftseries.models.shared.design import INTERCEPT
from liftseries.report.gain.sentences import difference, gain_sentence
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.sentences import problems
from liftseries.report.kit.writer import Writer


def blocks(writer: Writer) -> Iterable[Block]:
    """Bone gain at the visits, and what goes with it."""
    material, words = writer.material, writer.material.words
    if not material.has_visits:
        yield Paragraph("No implant was seen at a visit, so nothing can be said of the bone gained.")
        return
    yield Paragraph(
        "Bone gain is the bone height at a visit less the residual bone height in the middle of the footprint."
    )
    sentence = gain_sentence(material)
    if sentence:
        yield sentence
    yield from writer.figure("gain_by_visit")
    rows = material.rows("gain.mixed")
    for _, row in rows[~rows["term"].eq(INTERCEPT) & rows["estimate"].notna()].iterrows():
        yield difference(row, words)
    yield from writer.figure("gain_terms")
    yield from writer.table("gain_terms")
    yield from writer.table("gain_scatter")
    yield from problems(material, QUESTIONS)
