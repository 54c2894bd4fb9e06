"""A panel of curves over months: its axes, band, names beside the curves, numbers at risk below."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator, FuncFormatter

from liftseries.report.kit.figures.style import LIGHT, RULE, TEXT_PT, axes_at
from liftseries.report.kit.numbers import missing, short_count

ROW_MM, AXIS_MM, TITLE_MM = 3.8, 11.0, 6.0


def panel(figure, place_mm: tuple[float, float, float, float], ends: tuple[float, float], title: str):
    """Axes at left, bottom, width and height in mm; they end at a month and start at a share."""
    last, floor = ends
    axes = axes_at(figure, *place_mm)
    axes.set_xlim(0, max(last, 1.0))
    axes.xaxis.set_major_locator(FixedLocator(month_ticks(last)))
    axes.set_ylim(floor, 1 + 0.02 * (1 - floor))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.grid(axis="y")
    axes.set_xlabel("Months since placement")
    axes.set_ylabel("Implants in function, %" + (f"\n(axis starts at {100 * floor:g}%)" if floor else ""))
    axes.set_title(title, loc="left", size=TEXT_PT, weight="bold")
    return axes


def starts_at(lows: Sequence[float]) -> float:
    """Where an axis of shares starts that shows all of these: 0 where they reach below one half."""
    low = min(lows)
    return 0.0 if low < 0.5 else math.floor((low - 0.01) * 20) / 20


def month_ticks(last: float) -> np.ndarray:
    """Whole years, not more than eight of them."""
    every = next(step for step in (12, 24, 60, 120, 240, 10**6) if last / step <= 8)
    return np.arange(0, last + 1e-9, every)


def draw_band(axes, curve: pd.DataFrame) -> None:
    known = curve["conf_low"].notna()
    if known.any():
        band = curve[known]
        axes.fill_between(
            band["months"],
            band["conf_low"],
            band["conf_high"],
            step="post",
            facecolor=LIGHT,
            alpha=0.45,
            linewidth=0,
        )


def name_curves(axes, curves: Sequence[tuple[pd.DataFrame, str]], height_mm: float) -> None:
    """Each curve's name to the right of the axes, with a line from its end, pushed apart where they would meet."""
    low, high = axes.get_ylim()
    apart, right = 3.6 / height_mm * (high - low), axes.get_xlim()[1]
    placed = -math.inf
    for curve, label in sorted(curves, key=lambda named: float(named[0]["survival"].iloc[-1])):
        end, last = float(curve["months"].iloc[-1]), float(curve["survival"].iloc[-1])
        placed = max(last, placed + apart)
        axes.annotate(
            label,
            (end, last),
            xytext=(right * 1.05, placed),
            textcoords="data",
            va="center",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": RULE, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 1},
        )


def numbers_below(figure, axes, left_mm: float, rows: Mapping[str, pd.Series]) -> None:
    """Rows of numbers at risk under the ticks they belong to, their names from `left_mm` on."""
    width, height = figure.get_size_inches() * 25.4
    box, last = axes.get_position(), axes.get_xlim()[1]
    top = box.y0 * height - AXIS_MM
    figure.text(left_mm / width, top / height, "At risk", va="center", weight="bold")
    for k, (name, series) in enumerate(rows.items(), start=1):
        y = (top - ROW_MM * k) / height
        figure.text(left_mm / width, y, name, va="center")
        for tick in month_ticks(last):
            if tick in series.index and not missing(series.loc[tick]):
                x = box.x0 + box.width * tick / last
                figure.text(x, y, short_count(series.loc[tick]), ha="center", va="center")
