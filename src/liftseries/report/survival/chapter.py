"""How the implants fared: the chapter, block by block."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.survival.questions import QUESTIONS
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.numbers import WITHHELD, counted
from liftseries.report.kit.sentences import effects, problems, rows_to_read
from liftseries.report.kit.writer import Writer
from liftseries.report.survival.follow_up import follow_up_sentences
from liftseries.report.survival.sentences import MODELS, hazards_sentence, survival_sentence


def blocks(writer: Writer) -> Iterable[Block]:
    """How long implants stay, what the choices are worth, and what goes with it."""
    material, words = writer.material, writer.material.words
    if not material.has_visits:
        yield Paragraph("No implant was seen at a visit, so nothing can be said of how the implants fared.")
        return
    sentence = survival_sentence(material)
    if sentence:
        yield sentence
    elif material.rows("survival.km")["problem"].eq(WITHHELD).any():
        yield Paragraph("How many implants were in function at the months of the plan is withheld; the rest follows.")
    else:
        yield Paragraph("No implant was followed long enough for a survival estimate.")
    yield Paragraph("A failure is dated at the visit that found it.")
    yield from follow_up_sentences(material)
    yield from writer.table("follow_up")
    yield from writer.table("time_followed")
    yield from writer.figure("survival")
    yield from writer.table("survival")
    yield from writer.table("numbers_at_risk")
    yield Paragraph(
        "A failure happened at some time after the last visit in function, and a dead patient's implants can no longer "
        "fail. What these choices are worth:"
    )
    yield from writer.figure("survival_between_visits")
    yield from writer.table("survival_by_way")
    yield from writer.figure("survival_by_height")
    yield from writer.figure("competing_risks")
    yield from writer.table("competing_risks")
    yield from writer.table("months_in_function")
    yield from writer.table("life_table")
    cox = material.rows("survival.cox")
    if len(cox):
        yield Paragraph(
            f"The model rests on {counted(cox['n_events'].iloc[0], 'failure')} in "
            f"{counted(cox['n_sites'].iloc[0], 'implant')} of "
            f"{counted(cox['n_patients'].iloc[0], 'patient')}."
        )
        yield from effects(rows_to_read(material, *MODELS), words, "the hazard of implant failure")
    yield from writer.figure("hazard_ratios")
    yield from writer.table("hazard_ratios")
    yield from writer.table("hazard_ways")
    yield from hazards_sentence(material)
    yield from writer.figure("proportional_hazards")
    yield from writer.table("proportional_hazards")
    yield from writer.table("failure_times")
    if len(material.rows("survival.gain")):
        yield Paragraph(
            "An implant must last long enough for its bone gain to be measured. Counted from placement, a gain "
            "measured later would be credited with that time; so gain enters only for implants still in function at "
            f"the landmark, month {material.asked['landmark_months']:g}, and only failures "
            "after it count."
        )
    yield from writer.table("gain_and_failure")
    yield from writer.table("complications")
    yield from problems(material, QUESTIONS)
