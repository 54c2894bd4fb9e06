"""How often the membrane tore: the chapter of the report."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block
from liftseries.report.kit.writer import Writer


def blocks(writer: Writer) -> Iterable[Block]:
    """Its figures and tables."""
    yield from writer.figure("perforation_by_height")
    yield from writer.figure("risk_curves")
    yield from writer.table("tears")
