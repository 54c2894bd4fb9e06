"""What the first page answers of this outcome."""

from __future__ import annotations

from liftseries.report.kit.blocks import Answer
from liftseries.report.kit.material import Material


def tears(material: Material) -> Answer | None:
    """How often the membrane tore."""
    return None


def by_height(material: Material) -> Answer | None:
    """By residual bone height."""
    return None
