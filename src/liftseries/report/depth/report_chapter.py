"""Adherence to the drilling plan: the chapter of the report."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block
from liftseries.report.kit.writer import Writer


def blocks(writer: Writer) -> Iterable[Block]:
    """Its figures and tables."""
    yield from writer.figure("deviations")
