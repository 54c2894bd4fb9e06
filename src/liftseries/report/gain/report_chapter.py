"""Bone gain, marginal bone, torque and stability: the first part of the report's chapter on the clinical course."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.gain.sentences import gain_sentence, marginal_sentence, stability_sentence
from liftseries.report.kit.blocks import Block
from liftseries.report.kit.writer import Writer


def blocks(writer: Writer) -> Iterable[Block]:
    """What was measured at the visits and at placement; nothing of what nobody measured."""
    material = writer.material
    yield from filter(None, (gain_sentence(material), marginal_sentence(material)))
    yield from writer.figure("bone_over_time")
    yield from filter(None, (stability_sentence(material),))
