"""Bone gain, marginal bone, torque and stability: what stands behind the report's chapter."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.gain.sentences import graft_sentence, scatter_sentence
from liftseries.report.kit.blocks import Block
from liftseries.report.kit.writer import Writer


def blocks(writer: Writer) -> Iterable[Block]:
    """Gain and marginal bone at the months, what is associated with them, their scatter; torque and stability."""
    yield from writer.table("bone_at_months")
    yield from writer.table("bone_methods")
    yield from filter(None, (graft_sentence(writer.material), scatter_sentence(writer)))
    yield from writer.table("stability")
