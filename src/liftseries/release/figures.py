"""The figures of the bundle: those declared to leave the house, drawn from masked tables."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from liftseries.report.kit.declarations import Figure, Released
from liftseries.report.kit.drawing import save_figure
from liftseries.report.kit.material import Material


def draw_figures(figures: Iterable[Figure], material: Material, folder: Path) -> None:
    """Writes those that may leave, below `folder`; a table that the masked material does not hold is an empty one."""
    for figure in figures:
        if isinstance(figure.released, Released):
            save_figure(figure, material.read, material.plan, folder)
