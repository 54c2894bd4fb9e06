"""What bone was gained, drawn: single values and their mean by visit, and the terms of the model."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator, FuncFormatter

from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    LIGHT,
    MID,
    Drawing,
    axes_at,
    drawn,
    name_beside,
    new_figure,
    nothing_drawn,
    text_width_mm,
)
from liftseries.report.kit.figures.terms import draw_terms
from liftseries.report.kit.numbers import counted, decimal, missing, short_count
from liftseries.report.kit.words import Words

MOST_VECTOR_POINTS = 4000  # beyond, single values become pixels: the file would be megabytes of circles


@drawn
def draw_gain_by_visit(by_visit: pd.DataFrame, visits: pd.DataFrame, cases: pd.DataFrame) -> Drawing:
    """Bone gain against time since placement: every measurement, and mean with standard deviation by recall.

    Parameters
    ----------
    by_visit : `months, n, mean, sd`, mm
    visits, cases : one row a visit and one a site, for the single measurements; without rows only means are drawn
    """
    if by_visit.empty:
        return nothing_drawn("no visit has a bone height", DOUBLE_MM)
    gains = gain_at_visits(visits, cases)
    left, bottom, rows = max(text_width_mm("Measured"), 8.0) + 6, 11.5, 4.0
    height = bottom + rows + 58 + 3
    figure = new_figure(DOUBLE_MM, height)
    axes = axes_at(figure, left, bottom + rows, DOUBLE_MM - left - 34, 58)
    months = by_visit["months"].to_numpy(float)
    if len(gains):
        axes.plot(
            gains["months"].astype(float),
            gains["gain_mm"].astype(float),
            linestyle="",
            marker="o",
            markersize=2.0,
            markerfacecolor=LIGHT,
            markeredgewidth=0,
            alpha=0.55,
            rasterized=len(gains) > MOST_VECTOR_POINTS,
        )
    mean, sd = by_visit["mean"].to_numpy(float), by_visit["sd"].to_numpy(float)
    seen = np.isfinite(sd)
    axes.vlines(months[seen], (mean - sd)[seen], (mean + sd)[seen], color=DARK, linewidth=1.1)
    axes.plot(months, mean, color=DARK, linewidth=1.1)
    axes.plot(months, mean, linestyle="", marker="D", color=DARK, markerfacecolor="white", markersize=4.6, zorder=4)
    axes.axhline(0, color=MID, linewidth=0.8, linestyle=(0, (4, 2)))
    furthest = max(months.max(), float(gains["months"].astype(float).max()) if len(gains) else 0.0)
    axes.set_xlim(-0.03 * max(furthest, 12), 1.03 * max(furthest, 12))
    step = next(step for step in (12, 24, 60, 120, 10**6) if furthest / step <= 12)
    axes.xaxis.set_major_locator(FixedLocator(np.arange(0, furthest + 1e-9, step)))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}".replace("-", "−")))
    axes.set_xlabel("Months since placement")
    axes.set_ylabel("Bone gain, mm")
    name_beside(axes, mean[-1], "mean and standard\ndeviation")
    name_beside(axes, 0.0, "no gain")
    box, last = axes.get_position(), axes.get_xlim()
    figure.text(2.0 / DOUBLE_MM, 3.4 / height, "Measured", va="center")
    for month, n in zip(months, by_visit["n"], strict=True):
        if month % step == 0 or (month == 6 and furthest < 100):
            x = box.x0 + box.width * (month - last[0]) / (last[1] - last[0])
            figure.text(x, 3.4 / height, short_count(n), ha="center", va="center")
    told = "; ".join(
        f"{month:g} months, {counted(n, 'measurement')}, {decimal(m)}" + ("" if missing(s) else f" (SD {decimal(s)})")
        for month, n, m, s in zip(months, by_visit["n"], mean, sd, strict=True)
    )
    return Drawing(figure, f"Mean bone gain in mm by recall since placement: {told}.")


@drawn
def draw_gain_terms(gain: pd.DataFrame, words: Words | None = None) -> Drawing:
    """Differences in bone gain by term.

    Parameters
    ----------
    gain : rows of `gain.mixed`
    words : names of the study's own columns
    """
    lead = ""
    if len(gain):
        first = gain.iloc[0]
        lead = f"{counted(first['n_sites'], 'site')} of {counted(first['n_patients'], 'patient')}. "
    return draw_terms(gain, words, "Difference in bone gain, mm", ("less gain", "more gain"), ratio=False, lead=lead)
