"""How the implants fared: the chapter, block by block."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.survival.questions import QUESTIONS
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.sentences import effects, problems
from liftseries.report.kit.writer import Writer
from liftseries.report.survival.follow_up import follow_up_sentences
from liftseries.report.survival.sentences import (
    hazard_model_sentence,
    hazards_sentence,
    months_sentences,
    quoted_hazards,
    quoted_survival,
    survival_sentence,
)


def blocks(writer: Writer) -> Iterable[Block]:
    """How long implants stay, what the choices are worth, and what goes with it."""
    material, words = writer.material, writer.material.words
    if not material.has_visits:
        yield Paragraph("No implant was seen at a visit, so nothing can be said of how the implants fared.")
        return
    sentence = survival_sentence(material)
    if sentence:
        yield sentence
    yield from months_sentences(material)
    yield Paragraph("A failure is dated at the visit that found it.")
    yield from follow_up_sentences(material)
    yield from writer.table("follow_up")
    yield from writer.table("time_followed")

    yield from writer.table("numbers_at_risk")
    yield from writer.table("failed_implants")

    yield from hazard_model_sentence(material)
    quoted = quoted_hazards(material)
    yield from effects(quoted, words, "the hazard of implant failure")
    yield from writer.table("hazard_ratios")
    yield from hazards_sentence(material)
    if len(material.quoted("survival.ph")):
        yield from writer.figure("proportional_hazards")
    yield from writer.table("proportional_hazards")
    yield from other_methods(writer)
    if len(material.quoted("survival.gain")):
        yield Paragraph(
            "An implant must last long enough for its bone gain to be measured. Counted from placement, a gain "
            "measured later would be credited with that time; so gain enters only for implants still in function at "
            f"the landmark, month {material.asked['landmark_months']:g}, and only failures "
            "after it count."
        )
    yield from writer.table("gain_and_failure")
    yield from problems(material, QUESTIONS)


def other_methods(writer: Writer) -> Iterable[Block]:
    """The same questions by other methods."""
    material = writer.material
    if len(quoted_survival(material)):
        yield Paragraph(
            "A failure happened at some time after the last visit in function, and a dead patient's implants can no "
            "longer fail. What other ways to date and to count give:"
        )
        yield from writer.figure("survival_methods")
    yield from writer.table("survival_methods")
    if "hazard_methods" in writer.tables:
        yield from writer.figure("hazard_methods")
    yield from writer.table("hazard_methods")


def hazards(writer: Writer) -> Iterable[Block]:
    """Hazard ratios: other methods, proportional hazards."""
    yield from ()


def landmark(writer: Writer) -> Iterable[Block]:
    """Bone gain and later failure."""
    yield from ()
