"""Adjusted associations: the chapter of the report."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block
from liftseries.report.kit.writer import Writer


def blocks(writer: Writer) -> Iterable[Block]:
    """One table of adjusted associations, and what they rest on."""
    yield from ()
