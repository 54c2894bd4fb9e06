"""What the first page answers of this outcome."""

from __future__ import annotations

from liftseries.report.kit.blocks import Answer
from liftseries.report.kit.material import Material


def survival(material: Material) -> Answer | None:
    """Survival at the months of the plan."""
    return None


def failure(material: Material) -> Answer | None:
    """What goes with failure."""
    return None
