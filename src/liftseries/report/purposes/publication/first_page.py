"""The first page of the publication's report: who and where, the answers, the limits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from liftseries.base.named import function_named
from liftseries.report.closing.limits import three_limits
from liftseries.report.kit.blocks import Answer, Answers, Block, Listing
from liftseries.report.kit.sentences import small
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say
from liftseries.report.series.answers import who

ROOM = "liftseries.report"
ANSWERS = (
    f"{ROOM}.perforation.answers:tears",
    f"{ROOM}.perforation.answers:by_height",
    f"{ROOM}.depth.answers:adherence",
    f"{ROOM}.survival.answers:survival",
    f"{ROOM}.survival.answers:failure",
    f"{ROOM}.gain.answers:bone",
)


def blocks(writer: Writer) -> Iterable[Block]:
    """The page for two minutes."""
    material = writer.material
    studied = who(material)
    if studied:
        yield studied
    answers = filter(None, (function_named(answer)(material) for answer in ANSWERS))
    if told := tuple(map(with_its_certainty, answers)):
        yield Answers(told)
    yield Listing(say("answers.limits"), three_limits(material))


def with_its_certainty(answer: Answer) -> Answer:
    """An answer whose last half line says how sure it is."""
    return replace(answer, sure=say("answers.sure", sure=small(answer.sure).rstrip("."))) if answer.sure else answer
