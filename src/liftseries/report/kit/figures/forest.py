"""Estimates with their intervals, a line each: name to the left, axis in the middle, numbers to the right."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator
from matplotlib.transforms import blended_transform_factory

from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    MM_PER_INCH,
    RULE,
    SINGLE_MM,
    SMALL_PT,
    Drawing,
    axes_at,
    new_figure,
    text_width_mm,
    wrapped,
)

RATIO_TICKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)
ROW_MM, LINE_MM, GAP_MM, EDGE_MM = 5.6, 3.2, 3.0, 2.0
TALLEST_MM = 205.0  # of the lines together: more would not fit a page with its caption
LABEL_MM, NARROW_LABEL_MM = 66.0, 40.0  # no name stands wider than this; longer ones wrap


@dataclass(frozen=True)
class Line:
    """One line of the figure; a heading where it has no numbers at all.

    Attributes
    ----------
    label : its name, to the left
    columns : texts to the right, as many as the figure has headings
    estimate, low, high : on the axis; NaN where there is none
    open_marker : drawn open, to tell it from the others
    """

    label: str
    columns: tuple[str, ...] = ()
    estimate: float = math.nan
    low: float = math.nan
    high: float = math.nan
    open_marker: bool = False
    heading: bool = False


@dataclass(frozen=True)
class Axis:
    """The axis in the middle.

    Attributes
    ----------
    label : what it counts, with its unit
    none : where there is no difference; None draws no such line
    ratio : logarithmic
    towards : words under the axis for "less" and "more"
    percent : ticks as percent of shares
    starts : where an axis of shares starts
    """

    label: str
    none: float | None = None
    ratio: bool = False
    towards: tuple[str, str] = ("", "")
    percent: bool = False
    starts: float = 0.0


def draw_forest(
    lines: Sequence[Line],
    headings: Sequence[str],
    axis: Axis,
    alt: str,
    footnote: str = "",
    narrow: bool = False,
) -> Drawing:
    """Draw lines from top to bottom on one axis, at the width of two columns, or of one with the numbers below names.

    An interval that leaves the axis ends in an arrow head; the numbers still tell it in full.
    """
    width_mm = SINGLE_MM if narrow else DOUBLE_MM
    if narrow:
        lines, headings = [_folded(line) for line in lines], ()
    labels = [wrapped(line.label, NARROW_LABEL_MM if narrow else LABEL_MM) for line in lines]
    label_mm = (
        max(
            text_width_mm(label, weight="bold" if line.heading else "normal")
            for label, line in zip(labels, lines, strict=True)
        )
        + 2
    )
    column_mm = _column_widths_mm(lines, headings)
    right_mm = sum(column_mm) + GAP_MM * len(column_mm)
    further = [LINE_MM * label.count("\n") for label in labels]
    row_mm = min(ROW_MM, max(LINE_MM, (TALLEST_MM - sum(further)) / len(lines)))
    heights = [row_mm + more for more in further]
    body_mm = sum(heights)
    note = wrapped(footnote, width_mm - 2 * EDGE_MM) if footnote else ""
    left_mm = EDGE_MM + label_mm
    axis_mm = width_mm - left_mm - right_mm - EDGE_MM - (2 if narrow else 0)
    axis = replace(axis, label=wrapped(axis.label, axis_mm), towards=("", "")) if narrow else axis
    bottom_mm = 11.0 + (4.0 if any(axis.towards) else 0) + (3.4 * (note.count("\n") + 1) + 1 if note else 0)
    bottom_mm += LINE_MM * axis.label.count("\n")
    height_mm = bottom_mm + body_mm + 7

    figure = new_figure(width_mm, height_mm)
    axes = axes_at(figure, left_mm, bottom_mm, axis_mm, body_mm)
    axes.set_ylim(body_mm, 0)
    axes.spines["left"].set_visible(False)
    axes.yaxis.set_major_locator(NullLocator())
    low, high = _limits(lines, axis)
    _set_axis(axes, axis, low, high)

    starts = [width_mm - EDGE_MM - right_mm + GAP_MM + sum(column_mm[:k]) + GAP_MM * k for k in range(len(headings))]
    _write_beside(
        figure, axes, list(zip(lines, labels, heights, strict=True)), list(zip(starts, headings, strict=True))
    )
    for line, height, top in zip(lines, heights, _tops(heights), strict=True):
        if line.heading and top:
            axes.axhline(top, color=RULE, linewidth=0.5)
        _mark(axes, line, top + height / 2, low, high)
    if note:
        figure.text(EDGE_MM / width_mm, 1.6 / height_mm, note, va="bottom", size=SMALL_PT, linespacing=1.2)
    return Drawing(figure, alt)


def _tops(heights: Sequence[float]) -> list[float]:
    return [sum(heights[:k]) for k in range(len(heights))]


def _write_beside(figure, axes, lines: Sequence[tuple[Line, str, float]], columns: Sequence[tuple[float, str]]) -> None:
    """Names to the left and numbers to the right of the axis: lines with label and height, columns with their start."""
    beside, width_mm = (
        blended_transform_factory(figure.transFigure, axes.transData),
        figure.get_figwidth() * MM_PER_INCH,
    )
    for start, heading in columns:
        figure.text(start / width_mm, -3.2, heading, transform=beside, va="center", weight="bold")
    for (line, label, height), top in zip(lines, _tops([height for _, _, height in lines]), strict=True):
        at = {"transform": beside, "va": "center"}
        weight = "bold" if line.heading else "normal"
        figure.text(EDGE_MM / width_mm, top + height / 2, label, weight=weight, **at)
        for (start, _), text in zip(columns, line.columns, strict=bool(line.columns)):
            figure.text(start / width_mm, top + height / 2, text, **at)


def _folded(line: Line) -> Line:
    """The line with its first number below its name."""
    return replace(line, label="\n   ".join([line.label, *line.columns[:1]]), columns=())


def _column_widths_mm(lines: Sequence[Line], headings: Sequence[str]) -> list[float]:
    """How wide each column of numbers stands."""
    return [
        max(
            text_width_mm(heading, weight="bold"),
            *(text_width_mm(line.columns[k]) for line in lines if line.columns),
        )
        for k, heading in enumerate(headings)
    ]


def _limits(lines: Sequence[Line], axis: Axis) -> tuple[float, float]:
    """The axis' ends: what the lines need, within reason."""
    seen = [
        v
        for line in lines
        for v in (line.estimate, line.low, line.high)
        if math.isfinite(v) and (v > 0 or not axis.ratio)
    ]
    seen += [axis.none] if axis.none is not None else []
    if axis.ratio:
        low, high = min([*seen, 0.8]), max([*seen, 1.25])
        low = max(tick for tick in RATIO_TICKS if tick <= max(low, RATIO_TICKS[0]))
        high = min(tick for tick in RATIO_TICKS if tick >= min(high, RATIO_TICKS[-1]))
        return low, high
    if axis.percent:
        return axis.starts, min(1.0, 1.06 * max([*seen, 0.05]))
    low, high = min(seen), max(seen)
    room = 0.06 * (high - low or 1.0)
    return low - room, high + room


def _set_axis(axes, axis: Axis, low: float, high: float) -> None:
    """Scale, ends, ticks and words of the axis, and the line of no difference."""
    if axis.ratio:
        axes.set_xscale("log")
    axes.set_xlim(low, high)
    _ticks(axes, axis, low, high)
    axes.grid(axis="x")
    axes.set_xlabel(axis.label, labelpad=2 + (11 if any(axis.towards) else 0))
    if axis.none is not None:
        axes.axvline(axis.none, color=INK, linewidth=0.7)
    _say_directions(axes, axis, low, high)


def _ticks(axes, axis: Axis, low: float, high: float) -> None:
    axes.xaxis.set_minor_locator(NullLocator())
    if axis.ratio:
        ticks = [tick for tick in RATIO_TICKS if low <= tick <= high]
        if len(ticks) > 9:  # over four decades the twos and fives go
            ticks = [tick for tick in ticks if math.log10(tick).is_integer()]
        axes.xaxis.set_major_locator(FixedLocator(ticks))
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    elif axis.percent:
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))


def _say_directions(axes, axis: Axis, low: float, high: float) -> None:
    less, more = axis.towards
    if not any(axis.towards):
        return
    below = blended_transform_factory(axes.transAxes, axes.transAxes)
    y = -(6.6 / abs(axes.get_ylim()[0]))
    axes.text(0, y, f"← {less}", transform=below, ha="left", va="center")
    axes.text(1, y, f"{more} →", transform=below, ha="right", va="center")


def _mark(axes, line: Line, y: float, low: float, high: float) -> None:
    if not math.isfinite(line.estimate):
        return
    start, end = max(line.low, low), min(line.high, high)
    if math.isfinite(line.low) and math.isfinite(line.high):
        axes.plot([start, end], [y, y], color=DARK, linewidth=1.1, solid_capstyle="butt")
        for cap in (line.low, line.high):
            if low <= cap <= high:
                axes.plot(cap, y, marker="|", color=DARK, markersize=5, markeredgewidth=1.0, clip_on=False)
        if line.low < low:
            axes.plot(low, y, marker="<", color=DARK, markersize=4, clip_on=False)
        if line.high > high:
            axes.plot(high, y, marker=">", color=DARK, markersize=4, clip_on=False)
    if low <= line.estimate <= high:
        face = "white" if line.open_marker else DARK
        axes.plot(line.estimate, y, marker="s", color=DARK, markerfacecolor=face, markersize=3.8, clip_on=False)
