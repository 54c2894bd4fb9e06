"""What could change the answers: the chapter, block by block."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.sensitivity.questions import ALIKE, QUESTIONS
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.sentences import problems
from liftseries.report.kit.writer import Writer
from liftseries.report.sensitivity.sentences import evalue_sentence, lost_sentence


def blocks(writer: Writer) -> Iterable[Block]:
    """Unmeasured causes, overlooked tears, implants lost to follow-up, how alike sites are."""
    material = writer.material
    yield from evalue_sentence(material)
    yield from writer.table("evalues")
    yield Paragraph(
        "A tear that nobody saw counts as none. In cadavers, where the membrane can be watched, more tears are found "
        "than clinics report; what the rates would be if only a part had been seen:"
    )
    yield from writer.table("detection")
    yield from writer.table("detection_contrast")
    if material.has_visits:
        yield from lost_sentence(material)
        yield from writer.table("lost_implants")
    yield Paragraph(
        "The more alike the sites of a patient, the less each further site tells. The design effect beside an estimate "
        "says how many times over that widens its variance."
    )
    yield from writer.table("intraclass_correlation")
    if "second_opinion" in writer.tables:
        yield Paragraph(
            "Two libraries of statistics, lifelines and statsmodels, were given the same series and refitted what they "
            "can. Their answers stand beside ours by the largest difference; where one is known to differ, why."
        )
        yield from writer.table("second_opinion")
    yield from problems(material, (*ALIKE, *QUESTIONS))


def clustering(writer: Writer) -> Iterable[Block]:
    """How alike the sites of a patient are."""
    yield from ()
