"""A declared figure drawn, for a run from its files and for a release from tables that are masked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from liftseries.base.named import function_named
from liftseries.report.kit.declarations import Figure
from liftseries.report.kit.figures.style import Drawing
from liftseries.report.kit.words import Words


def draw_figure(figure: Figure, read: Callable[[str], pd.DataFrame], plan: Mapping[str, Any]) -> Drawing:
    """Draws a figure from what its declaration says that it reads.

    Parameters
    ----------
    figure : as declared
    read : gives the table of a source; what may not be shown is an empty one
    plan : study.yaml with every default filled in (`Plan.as_written`), or `plan_read_by` of it
    """

    def given(source: str) -> Any:
        if source == "words":
            return Words(plan["extra_columns"])
        key = source.removeprefix("plan:")
        return plan["plan"][key] if key != source else read(source)

    return function_named(figure.draws)(**{name: given(source) for name, source in figure.reads.items()})
