"""The figures of the bundle: those declared to leave the house, drawn from masked tables."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from liftseries.report.kit.declarations import Figure, Released
from liftseries.report.kit.drawing import draw_figure
from liftseries.report.kit.figures.style import save
from liftseries.report.kit.material import Material


def draw_figures(figures: Iterable[Figure], material: Material, folder: Path) -> dict[str, Path]:
    """Writes those that may leave; name -> the SVG.

    Parameters
    ----------
    figures : of the report
    material : masked; a table that it does not hold is drawn as an empty one
    folder : where the files go
    """
    for figure in figures:
        if isinstance(figure.released, Released):
            save(draw_figure(figure, material.read, material.plan), folder / figure.name)
    return {path.stem: path for path in sorted(folder.glob("*.svg"))}
