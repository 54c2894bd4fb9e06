"""A declared figure drawn, for a run from its files and for a release from tables that are masked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from liftseries.base.named import function_named
from liftseries.report.kit.declarations import NARROW, Figure
from liftseries.report.kit.figures.style import Drawing, save
from liftseries.report.kit.fonts import fonts
from liftseries.report.kit.words import Words


def draw_figure(
    figure: Figure, read: Callable[[str], pd.DataFrame], plan: Mapping[str, Any], narrow: bool = False
) -> Drawing | None:
    """Draws a figure from what its declaration says that it reads.

    Parameters
    ----------
    figure : as declared
    read : gives the table of a source; what may not be shown is an empty one
    plan : study.yaml with every default filled in (`Plan.as_written`), or `plan_read_by` of it
    narrow : its layout in one column
    """

    def given(source: str) -> Any:
        if source == "words":
            return Words(plan["extra_columns"])
        key = source.removeprefix("plan:")
        return plan["plan"][key] if key != source else read(source)

    layout = {"narrow": True} if narrow else {}
    return function_named(figure.draws)(**{name: given(source) for name, source in figure.reads.items()}, **layout)


def save_figure(
    figure: Figure, read: Callable[[str], pd.DataFrame], plan: Mapping[str, Any], folder: Path | str
) -> None:
    """Draws a figure and writes its files into a folder; none where there is nothing to draw."""
    fonts()
    drawing = draw_figure(figure, read, plan)
    if drawing is None:
        return
    save(drawing, Path(folder) / figure.name)
    if figure.has_narrow:
        save(draw_figure(figure, read, plan, narrow=True), Path(folder) / NARROW / figure.name, ["svg"])
