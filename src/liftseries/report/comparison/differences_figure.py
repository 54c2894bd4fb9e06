"""All outcomes in one figure, crude and quoted side by side: shares of 100 above, measurements below."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from matplotlib.ticker import MaxNLocator, NullLocator
from matplotlib.transforms import blended_transform_factory

from liftseries.report.comparison.compared import CRUDE, MM, OUTCOMES, SHARE, Comparison, Outcome
from liftseries.report.comparison.sentences import cell, label
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    MM_PER_INCH,
    SINGLE_MM,
    SMALL_PT,
    Drawing,
    axes_at,
    drawn,
    new_figure,
    text_width_mm,
    wrapped,
)
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say

ROW_MM, HEAD_MM, LINE_MM, BELOW_MM, TOP_MM, EDGE_MM, GAP_MM, TALLEST_MM = 3.9, 4.6, 3.4, 10.5, 6.0, 2.0, 3.0, 235.0
LABEL_MM, NARROW_LABEL_MM = 62.0, 42.0
HEAD = "comparison.head_interval"
MOST_OTHERS = 4  # groups beside the reference of which the lines fit a page


@dataclass(frozen=True)
class Line:
    """A line: a heading, or an estimate by one method."""

    label: str
    numbers: str = ""
    row: pd.Series | None = None
    outcome: Outcome | None = None
    is_quoted: bool = False


@drawn
def draw_differences(
    perforation: pd.DataFrame,
    survival: pd.DataFrame,
    gain: pd.DataFrame,
    deeper: pd.DataFrame,
    adherence: pd.DataFrame,
    entangled: pd.DataFrame,
    comparison: Mapping[str, Any],
    survival_months: Sequence[float],
    words: Words | None = None,
    narrow: bool = False,
) -> Drawing | None:
    """Differences from the reference of each outcome, crude open and quoted filled; None where none is quoted.

    Parameters
    ----------
    perforation, survival, gain, deeper, adherence : rows of `comparison.…`
    entangled : `group, operator, surgery_year, n_sites`
    comparison : plan.comparison
    survival_months : of the plan
    words : names of the study's own columns
    narrow : a layout of one column
    """
    tables = [table for table in (perforation, survival, gain, deeper, adherence) if len(table)]
    if not tables:
        return None
    found = Comparison(pd.concat(tables), entangled, comparison, survival_months, words or Words())
    if found.why_nothing or len(found.others) > MOST_OTHERS:
        return None
    names = dict.fromkeys(name for name in (comparison["primary"], *OUTCOMES) if name in FIGURED)
    blocks = {
        scale: [line for name in names if OUTCOMES[name].scale == scale for line in _lines(found, OUTCOMES[name])]
        for scale in (SHARE, MM)
    }
    blocks = {scale: lines for scale, lines in blocks.items() if lines}
    if not blocks:
        return None
    figure = _drawn(blocks, found, narrow)
    rows = [line for lines in blocks.values() for line in lines if line.is_quoted]
    told = "; ".join(f"{line.label.strip()} {line.numbers}" for line in rows)
    reference = found.named(found.reference)
    n_sites, n_patients = (max(int(line.row[name]) for line in rows) for name in ("n_sites", "n_patients"))
    return Drawing(
        figure,
        say("comparison.alt_differences", reference=reference, told=told),
        say("comparison.covers_differences", sites=n_sites, patients=n_patients),
    )


FIGURED = ("perforation", "survival", "deeper", "adherence", "gain")


def _lines(found: Comparison, outcome: Outcome) -> list[Line]:
    lines = []
    for level in found.others:
        quoted, crude = found.contrast(outcome, level), found.by(CRUDE, outcome, level)
        if quoted is None:
            continue
        name = found.named(level)
        unadjusted = f" {say('comparison.unadjusted')}" if quoted["method"] == CRUDE else ""
        lines.append(Line(f"   {name}{unadjusted}", cell(outcome, quoted), quoted, outcome, is_quoted=True))
        if crude is not None and quoted["method"] != CRUDE:
            lines.append(Line(f"   {name}, {say('comparison.crude')}", cell(outcome, crude), crude, outcome))
    return [Line(label(outcome, found)), *lines] if lines else []


@dataclass(frozen=True)
class Layout:
    """Lines of a scale with their texts to the left and heights in mm, and the mm between them and the next."""

    blocks: Mapping[str, list[Line]]
    labels: Mapping[str, list[str]]
    heights: Mapping[str, list[float]]
    below_mm: float

    @property
    def total_mm(self) -> float:
        """Of the figure."""
        return sum(sum(of) + self.below_mm + TOP_MM for of in self.heights.values())


def _layout(blocks: Mapping[str, list[Line]], narrow: bool) -> Layout:
    """As far as it fits a page: on a phone, numbers below the names go first, then the crude lines."""
    layouts = [_laid_out(blocks, narrow, numbers=narrow)]
    if narrow:
        quoted = {scale: [line for line in of if line.row is None or line.is_quoted] for scale, of in blocks.items()}
        layouts += [_laid_out(blocks, True, numbers=False), _laid_out(quoted, True, numbers=False)]
    return next((one for one in layouts if one.total_mm <= TALLEST_MM), layouts[-1])


def _laid_out(blocks: Mapping[str, list[Line]], narrow: bool, numbers: bool) -> Layout:
    labels, heights = {}, {}
    for scale, of in blocks.items():
        names = [wrapped(line.label, NARROW_LABEL_MM if narrow else LABEL_MM) for line in of]
        labels[scale] = [
            f"{name}\n   {line.numbers}" if numbers and line.numbers else name
            for name, line in zip(names, of, strict=True)
        ]
        first = (HEAD_MM if line.row is None else ROW_MM for line in of)
        heights[scale] = [mm + LINE_MM * text.count("\n") for mm, text in zip(first, labels[scale], strict=True)]
    return Layout(blocks, labels, heights, BELOW_MM + (2 * LINE_MM if narrow else 0))


def _drawn(blocks: Mapping[str, list[Line]], found: Comparison, narrow: bool):
    width, layout = (SINGLE_MM if narrow else DOUBLE_MM), _layout(blocks, narrow)
    label_mm = max(text_width_mm(text, weight="bold") for of in layout.labels.values() for text in of) + 2
    numbers = [line.numbers for of in blocks.values() for line in of]
    head_mm = text_width_mm(say(HEAD), weight="bold")
    numbers_mm = 0 if narrow else max([head_mm, *map(text_width_mm, numbers)]) + GAP_MM
    figure, bottom = new_figure(width, layout.total_mm), layout.total_mm
    for scale, of in layout.blocks.items():
        body = sum(layout.heights[scale])
        bottom -= body + TOP_MM
        place = (EDGE_MM + label_mm, bottom, width - 2 * EDGE_MM - label_mm - numbers_mm - 2, body)
        axes = axes_at(figure, *place)
        axes.set_ylim(body, 0)
        axes.yaxis.set_major_locator(NullLocator())
        axes.spines["left"].set_visible(False)
        _axis(axes, of, scale, found, narrow, place[2])
        _mark_margin(axes, of, layout.heights[scale], found)
        starts_mm = None if narrow else width - EDGE_MM - numbers_mm + GAP_MM
        _write(figure, axes, of, layout.labels[scale], layout.heights[scale], starts_mm)
        bottom -= layout.below_mm
    return figure


def _mark_margin(axes, lines: Sequence[Line], heights: Sequence[float], found: Comparison) -> None:
    """The difference that matters, over the lines of the primary outcome."""
    mine = [k for k, line in enumerate(lines) if line.outcome is found.primary]
    if not mine or not found.margin:
        return
    margin = found.margin * (100 if found.primary.scale == SHARE else 1)
    ends = [sum(heights[: mine[0]]), sum(heights[: mine[-1] + 1])]
    for x in (-margin, margin):
        axes.plot([x, x], ends, color=INK, linewidth=0.6, linestyle=(0, (3, 2)), zorder=0)


def _axis(axes, lines: Sequence[Line], scale: str, found: Comparison, narrow: bool, width_mm: float) -> None:
    times = 100 if scale == SHARE else 1
    seen = [
        times * float(line.row[name]) for line in lines if line.row is not None for name in ("conf_low", "conf_high")
    ]
    margin = found.margin if found.primary.scale == scale else None
    seen += [0.0] + ([times * margin, -times * margin] if margin else [])
    room = 0.06 * (max(seen) - min(seen))
    axes.set_xlim(min(seen) - room, max(seen) + room)
    axes.xaxis.set_major_locator(MaxNLocator(4 if narrow else 7))
    axes.grid(axis="x")
    axes.axvline(0, color=INK, linewidth=0.7)
    reference = found.named(found.reference)
    text = say("comparison.axis_share_difference" if scale == SHARE else "comparison.axis_mm", reference=reference)
    axes.set_xlabel(wrapped(text, width_mm) if narrow else text)


def _write(
    figure, axes, lines: Sequence[Line], labels: Sequence[str], heights: Sequence[float], starts_mm: float | None
) -> None:
    """Names to the left, estimates, and from a place on their numbers to the right, where there is one."""
    width = figure.get_figwidth() * MM_PER_INCH
    beside = blended_transform_factory(figure.transFigure, axes.transData)
    if starts_mm is not None:
        figure.text(starts_mm / width, -2.4, say(HEAD), transform=beside, va="center", weight="bold")
    top = 0.0
    for line, text, height in zip(lines, labels, heights, strict=True):
        y = top + height / 2
        top += height
        weight = "bold" if line.row is None else "normal"
        figure.text(EDGE_MM / width, y, text, transform=beside, va="center", weight=weight, size=SMALL_PT)
        if line.row is None:
            continue
        if starts_mm is not None:
            figure.text(starts_mm / width, y, line.numbers, transform=beside, va="center")
        times = 100 if line.outcome.scale == SHARE else 1
        value, low, high = (times * float(line.row[name]) for name in ("estimate", "conf_low", "conf_high"))
        style = "-" if line.is_quoted else (0, (3, 1.2))
        axes.plot([low, high], [y, y], color=DARK, linewidth=1.1, linestyle=style)
        face = DARK if line.is_quoted else "white"
        axes.plot(value, y, marker="s", color=DARK, markerfacecolor=face, markersize=3.8)
