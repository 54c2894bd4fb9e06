"""What bone was gained: the chapter, block by block."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.gain.questions import QUESTIONS
from liftseries.report.gain.sentences import differences, gain_sentence, marginal_sentences, stability_sentence
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.sentences import problems
from liftseries.report.kit.writer import Writer


def blocks(writer: Writer) -> Iterable[Block]:
    """Bone gain and marginal bone at the visits, what goes with them, and how firmly the implants stood."""
    material, words = writer.material, writer.material.words
    asked = QUESTIONS
    if material.has_visits:
        yield Paragraph(
            "Bone gain is the bone height at a visit less the residual bone height in the middle of the footprint. The "
            "marginal bone level is how far the bone at the implant's neck lies below the platform."
        )
        sentence = gain_sentence(material)
        if sentence:
            yield sentence
        yield from marginal_sentences(material)
        yield from writer.table("bone_at_months")
        yield from differences(material, words)
        yield from writer.table("bone_terms")
        yield from writer.table("gain_scatter")
        yield from writer.table("bone_methods")
    else:
        yield Paragraph("No implant was seen at a visit, so nothing can be said of the bone gained.")
        asked = [question for question in QUESTIONS if "visits" not in question.reads]
    sentence = stability_sentence(material)
    if sentence:
        yield sentence
    yield from writer.table("stability")
    yield from problems(material, asked)
