"""What figures of curves over months share: their frame, bands, names beside the curves, numbers below."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator, FuncFormatter
from matplotlib.transforms import ScaledTranslation

from liftseries.report.kit.figures.style import DOUBLE_MM, LIGHT, axes_at, name_beside, new_figure, text_width_mm
from liftseries.report.kit.numbers import missing, short_count

ROW_MM, BODY_MM, BOTTOM_MM = 4.0, 58.0, 12.0


def frame(curves: list[pd.DataFrame], row_names: list[str], room_right_mm: float, bands: bool = True, lows=()):
    """Figure, axes and the months at which numbers stand; without names of rows there is no room for numbers below."""
    left = max((text_width_mm(name) for name in row_names), default=7) + 9
    below = BOTTOM_MM + (ROW_MM * len(row_names) + 3 if row_names else 0)
    height = below + BODY_MM + 4
    figure = new_figure(DOUBLE_MM, height)
    axes = axes_at(figure, left, below, DOUBLE_MM - left - room_right_mm, BODY_MM)
    last = max(float(curve["months"].max()) for curve in curves)
    ticks = month_ticks(last)
    axes.set_xlim(0, max(last, 1.0))
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    columns = ["survival", "conf_low"] if bands else ["survival"]
    low = min([float(curve[columns].min().min()) for curve in curves] + list(lows))
    floor = 0.0 if low < 0.5 else math.floor((low - 0.01) * 20) / 20
    axes.set_ylim(floor, 1 + 0.02 * (1 - floor))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.grid(axis="y")
    axes.set_xlabel("Months since placement")
    axes.set_ylabel("Implants in function, %" + (f"\n(axis starts at {100 * floor:g}%)" if floor else ""))
    return figure, axes, ticks


def month_ticks(last: float) -> np.ndarray:
    """Whole years, not more than eleven of them."""
    every = next(step for step in (12, 24, 60, 120, 240, 10**6) if last / step <= 11)
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


def name_curves(axes, curves: list[tuple]) -> None:
    """Each curve's name at its right end, pushed apart where they would meet."""
    low, high = axes.get_ylim()
    least, placed = 0.065 * (high - low), -np.inf
    right = axes.get_xlim()[1]
    for curve, label, look in sorted(curves, key=lambda named: float(named[0]["survival"].iloc[-1])):
        end, last = float(curve["months"].iloc[-1]), float(curve["survival"].iloc[-1])
        placed = max(last, placed + least)
        name_beside(axes, placed, label, points=14)
        axes.annotate(
            "",
            (end, last),
            xytext=(right, placed),
            textcoords="data",
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": look.colour,
                "linewidth": 0.5,
                "shrinkA": 0,
                "shrinkB": 0,
            },
        )
        axes.plot(
            [right],
            [placed],
            marker=look.marker,
            color=look.colour,
            markerfacecolor=look.face,
            clip_on=False,
            transform=axes.transData + _points_right(axes, 7),
        )


def _points_right(axes, points: float):
    """A shift to the right."""
    return ScaledTranslation(points / 72, 0, axes.figure.dpi_scale_trans)


def numbers_below(figure, axes, ticks: Sequence[float], rows: dict[str, pd.Series]) -> None:
    """Rows of numbers under the ticks they belong to."""
    width, height = figure.get_size_inches() * 25.4
    left, right = axes.get_position().x0, axes.get_position().x1
    last = axes.get_xlim()[1]
    for k, (name, series) in enumerate(rows.items()):
        y = (ROW_MM * (len(rows) - k) - 0.5) / height
        figure.text(2.0 / width, y, name, va="center")
        for tick in ticks:
            if tick in series.index and not missing(series.loc[tick]):
                x = left + (right - left) * tick / last
                figure.text(x, y, short_count(series.loc[tick]), ha="center", va="center")
