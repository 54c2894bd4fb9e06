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

ROW_MM, NARROW_ROW_MM, HEAD_MM, BELOW_MM, TOP_MM, EDGE_MM, GAP_MM = 3.9, 7.4, 4.6, 10.5, 6.0, 2.0, 3.0
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


def _drawn(blocks: Mapping[str, list[Line]], found: Comparison, narrow: bool):
    width = SINGLE_MM if narrow else DOUBLE_MM
    lines = [line for of in blocks.values() for line in of]
    labels = {id(line): _label(line, narrow) for line in lines}
    label_mm = max(text_width_mm(text, weight="bold") for text in labels.values()) + 2
    numbers_mm = 0 if narrow else max([text_width_mm(say(HEAD), weight="bold"), *(text_width_mm(line.numbers) for line in lines)]) + GAP_MM
    heights = {scale: [_height(line, labels[id(line)], narrow) for line in of] for scale, of in blocks.items()}
    total = sum(sum(of) + BELOW_MM + TOP_MM for of in heights.values())
    figure = new_figure(width, total)
    bottom = total
    for scale, of in blocks.items():
        body = sum(heights[scale])
        bottom -= body + TOP_MM
        place = (EDGE_MM + label_mm, bottom, width - 2 * EDGE_MM - label_mm - numbers_mm - 2, body)
        axes = axes_at(figure, *place)
        axes.set_ylim(body, 0)
        axes.yaxis.set_major_locator(NullLocator())
        axes.spines["left"].set_visible(False)
        _axis(axes, of, heights[scale], scale, found, narrow, place[2])
        _write(figure, axes, of, [labels[id(line)] for line in of], heights[scale], width - EDGE_MM - numbers_mm + GAP_MM)
        if not narrow:
            beside = blended_transform_factory(figure.transFigure, axes.transData)
            at = (width - EDGE_MM - numbers_mm + GAP_MM) / width
            figure.text(at, -2.4, say(HEAD), transform=beside, va="center", weight="bold")
        bottom -= BELOW_MM
    return figure


def _label(line: Line, narrow: bool) -> str:
    text = wrapped(line.label, NARROW_LABEL_MM if narrow else LABEL_MM)
    return f"{text}\n   {line.numbers}" if narrow and line.numbers else text


def _height(line: Line, text: str, narrow: bool) -> float:
    if line.row is None:
        return HEAD_MM + 3.2 * text.count("\n")
    return NARROW_ROW_MM + 3.2 * (text.count("\n") - 1) if narrow else ROW_MM + 3.2 * text.count("\n")


def _axis(
    axes, lines: Sequence[Line], heights: Sequence[float], scale: str, found: Comparison, narrow: bool, width_mm: float
) -> None:
    """Ends, ticks and words; over the lines of the primary outcome, which stands first, the difference that matters."""
    times = 100 if scale == SHARE else 1
    seen = [times * float(line.row[name]) for line in lines if line.row is not None for name in ("conf_low", "conf_high")]
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
    if margin:
        ends = [k for k, line in enumerate(lines) if line.row is None][1:] or [len(lines)]
        for x in (-times * margin, times * margin):
            axes.plot([x, x], [0, sum(heights[: ends[0]])], color=INK, linewidth=0.6, linestyle=(0, (3, 2)), zorder=0)


def _write(figure, axes, lines: Sequence[Line], labels: Sequence[str], heights: Sequence[float], at_mm: float) -> None:
    width = figure.get_figwidth() * MM_PER_INCH
    beside = blended_transform_factory(figure.transFigure, axes.transData)
    top = 0.0
    for line, text, height in zip(lines, labels, heights, strict=True):
        y = top + height / 2
        top += height
        weight = "bold" if line.row is None else "normal"
        figure.text(EDGE_MM / width, y, text, transform=beside, va="center", weight=weight, size=SMALL_PT)
        if line.row is None:
            continue
        if "\n" not in text or line.numbers not in text:
            figure.text(at_mm / width, y, line.numbers, transform=beside, va="center")
        times = 100 if line.outcome.scale == SHARE else 1
        value, low, high = (times * float(line.row[name]) for name in ("estimate", "conf_low", "conf_high"))
        style = "-" if line.is_quoted else (0, (3, 1.2))
        axes.plot([low, high], [y, y], color=DARK, linewidth=1.1, linestyle=style)
        face = DARK if line.is_quoted else "white"
        axes.plot(value, y, marker="s", color=DARK, markerfacecolor=face, markersize=3.8)
