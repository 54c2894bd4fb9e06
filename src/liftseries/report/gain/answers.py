"""What the first page answers of this outcome."""

from __future__ import annotations

from liftseries.report.kit.blocks import Answer
from liftseries.report.kit.material import Material


def bone(material: Material) -> Answer | None:
    """Bone gain and marginal bone."""
    return None
