"""Limits and methods: the last chapter of the report."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.closing.limits import limits_told
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.writer import Writer


def blocks(writer: Writer) -> Iterable[Block]:
    """A short paragraph a limit."""
    for text in limits_told(writer.material):
        yield Paragraph(text)


def not_possible(writer: Writer) -> Iterable[Block]:
    """What was not possible, and why."""
    yield from ()
