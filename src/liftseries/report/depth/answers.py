"""What the first page answers of this outcome."""

from __future__ import annotations

from liftseries.report.kit.blocks import Answer
from liftseries.report.kit.material import Material


def adherence(material: Material) -> Answer | None:
    """How the drilling ended, and how many sites were drilled as planned."""
    return None
