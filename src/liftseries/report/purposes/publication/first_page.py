"""The first page of the publication's report: who and where, the answers, the limits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from liftseries.base.named import function_named
from liftseries.report.closing.limits import three_limits
from liftseries.report.kit.blocks import Answer, Answers, Block, Listing, Paragraph
from liftseries.report.kit.sentences import small
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say
from liftseries.report.series.answers import who

ROOM = "liftseries.report"
ANSWERS = {  # what it is about, where there is none -> the function that gives it
    "perforations of the membrane": f"{ROOM}.perforation.answers:tears",
    "perforation by residual bone height": f"{ROOM}.perforation.answers:by_height",
    "the drilling": f"{ROOM}.depth.answers:adherence",
    "implant survival": f"{ROOM}.survival.answers:survival",
    "what goes with failure": f"{ROOM}.survival.answers:failure",
    "bone": f"{ROOM}.gain.answers:bone",
}


def blocks(writer: Writer) -> Iterable[Block]:
    """The page for two minutes."""
    material = writer.material
    studied = who(material)
    if studied:
        yield studied
    answers = {lead: function_named(answer)(material) for lead, answer in ANSWERS.items()}
    if told := tuple(with_its_certainty(answer) for answer in answers.values() if answer):
        yield Answers(told)
    if lacking := [lead for lead, answer in answers.items() if not answer]:
        yield Paragraph(say("answers.lacking", questions=lacking))
    yield Listing(say("answers.limits"), three_limits(material))


def with_its_certainty(answer: Answer) -> Answer:
    """An answer whose last half line says how sure it is."""
    return replace(answer, sure=say("answers.sure", sure=small(answer.sure).rstrip("."))) if answer.sure else answer
