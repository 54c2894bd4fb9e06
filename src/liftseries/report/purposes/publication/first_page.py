"""The first page of the publication's report: who and where, the answers, the limits."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.base.named import function_named
from liftseries.report.kit.blocks import Answers, Block
from liftseries.report.kit.writer import Writer

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
    answers = tuple(filter(None, (function_named(answer)(writer.material) for answer in ANSWERS)))
    if answers:
        yield Answers(answers)
