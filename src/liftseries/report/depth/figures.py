"""How deep was drilled, drawn: drilled against planned depth, gauge depth against osteotomy depth."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter

from liftseries.models.depth.read import readings
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    LIGHT,
    MID,
    RULE,
    SINGLE_MM,
    Drawing,
    axes_at,
    drawn,
    name_beside,
    new_figure,
    text_width_mm,
)
from liftseries.report.kit.numbers import counted, interval, listed
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.languages.say import say

AGREEMENT_WORDS = {"high": "upper limit", "bias": "bias", "low": "lower limit"}
LINES = {"bias": (0, (5, 2)), "low": (0, (1, 1.6)), "high": (0, (1, 1.6))}
LEFT_MM, BOTTOM_MM, TOP_MM, KEY_MM = 14.0, 11.0, 7.0, 12.0


@drawn
def draw_planned_achieved(cases: pd.DataFrame, agreement: pd.DataFrame, narrow: bool = False) -> Drawing | None:
    """Last depth drilled less the planned one against the latter, with bias and limits of agreement.

    Parameters
    ----------
    cases : one row a site; `approach, planned_last_mm, achieved_last_mm`
    agreement : rows of `depth.agreement`; without estimates only the sites are drawn
    narrow : the approaches one below the other
    """
    wanted = ["planned_last_mm", "achieved_last_mm"]
    if not set(wanted) <= set(cases):
        return None
    table = cases[["approach", *wanted]].assign(**{name: pd.to_numeric(cases[name]) for name in wanted}).dropna()
    if table.empty:
        return None
    table["error_mm"] = (table["achieved_last_mm"] - table["planned_last_mm"]).astype(float).round(6)
    table["planned_last_mm"] = table["planned_last_mm"].astype(float).round(6)
    levels = [level for level in ("guided", "freehand") if table["approach"].eq(level).any()]
    lines = headline_lines(agreement)
    right = names_mm(lines)
    figure, panels = _panels(levels, right, narrow)
    spots = {
        level: table[table["approach"].eq(level)].groupby(["planned_last_mm", "error_mm"]).size() for level in levels
    }
    most = max(sizes.max() for sizes in spots.values())
    x = table["planned_last_mm"]
    y = np.r_[table["error_mm"], [row["estimate"] for row in lines.values()], 0.0]
    x_room, y_room = 0.06 * (np.ptp(x) or 1) + 0.2, 0.09 * (np.ptp(y) or 1)
    for k, (level, axes) in enumerate(zip(levels, panels, strict=True)):
        draw_differences(axes, spots[level], most, lines, "o" if k == 0 else "D")
        axes.set_xlim(x.min() - x_room, x.max() + x_room)
        axes.set_ylim(y.min() - y_room, y.max() + y_room)
        axes.set_title(f"{level}, {counted(len(table[table['approach'].eq(level)]), 'site')}", loc="left", pad=4)
        if k and not narrow:
            axes.tick_params(labelleft=False)
        else:
            axes.set_ylabel("Drilled less planned, mm")
        if not narrow or axes is panels[-1]:
            axes.set_xlabel("Planned last depth, mm")
    name_lines(panels[-1], lines)
    size_key(panels[0 if narrow else -1], most, right)
    sites = {"sites": len(table)}
    return Drawing(
        figure,
        say("depth.alt_planned_achieved", **sites, **_signs(table["error_mm"]), lines=_lines_told(lines)),
        say("depth.covers_sites", **sites) + _of_patients(lines),
    )


def _panels(levels: list[str], right: float, narrow: bool):
    """A figure and the axes of each level: beside each other, or in one column one below the other."""
    height = 40.0 if narrow else 52.0
    across, down = (1, len(levels)) if narrow else (len(levels), 1)
    total = SINGLE_MM if narrow or across == 1 else DOUBLE_MM
    width = (total - LEFT_MM - right - 4 * (across - 1)) / across
    step = height + TOP_MM + 4
    figure = new_figure(total, BOTTOM_MM + step * (down - 1) + height + TOP_MM)
    places = [
        (LEFT_MM + (0 if narrow else k * (width + 4)), BOTTOM_MM + step * (down - 1 - (k if narrow else 0)))
        for k in range(len(levels))
    ]
    return figure, [axes_at(figure, left, bottom, width, height) for left, bottom in places]


def draw_differences(axes, sizes: pd.Series, most: int, lines: dict, marker: str) -> None:
    """Differences in mm as marks whose area stands for how many lie there, with bias and limits of agreement.

    Parameters
    ----------
    axes
    sizes : how many lie at each place, indexed by x and difference
    most : the largest of all panels
    lines : term of the agreement -> its row
    marker
    """
    axes.axhline(0, color=RULE, linewidth=0.8, zorder=0)
    axes.scatter(
        sizes.index.get_level_values(0),
        sizes.index.get_level_values(1),
        s=_area(sizes.to_numpy(), most),
        facecolor=LIGHT,
        edgecolor=DARK,
        linewidth=0.6,
        marker=marker,
        zorder=2,
    )
    for term, row in lines.items():
        colour = MID if term == "bias" else INK
        axes.axhline(row["estimate"], color=colour, linewidth=1.3, linestyle=LINES[term], zorder=3)
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}".replace("-", "−")))


def headline_lines(agreement: pd.DataFrame) -> dict:
    """Term -> its headline row, of the rows of an agreement that have an estimate."""
    return {row["term"]: row for _, row in quoted_in(agreement).iterrows()}


def _lines_told(lines: dict) -> str:
    """Bias and limits, in words."""
    told = [
        say("depth.alt_line", line=AGREEMENT_WORDS.get(term, term), value=row["estimate"])
        for term, row in lines.items()
    ]
    return listed(told) if told else say("depth.alt_no_lines")


def _signs(difference: pd.Series) -> dict[str, int]:
    """How many differences lie above 0, below and at 0."""
    deeper, shallower = int((difference > 1e-6).sum()), int((difference < -1e-6).sum())
    return {"deeper": deeper, "shallower": shallower, "alike": len(difference) - deeper - shallower}


def _area(sizes: np.ndarray, most: int) -> np.ndarray:
    """Areas in square points, proportional to the number of sites; the largest never hides its neighbours."""
    return 9 + 91 * (np.asarray(sizes, float) - 1) / max(most - 1, 1)


def name_lines(axes, lines: dict) -> None:
    """Names beside the axes at the height of each line, pushed apart where they would meet."""
    low, high = axes.get_ylim()
    height_mm = axes.get_position().height * axes.figure.get_size_inches()[1] * 25.4
    least = 7.0 / height_mm * (high - low)
    placed = -np.inf
    for term in ("low", "bias", "high"):
        if term in lines:
            row = lines[term]
            placed = max(row["estimate"], placed + least)
            name_beside(axes, placed, line_name(term, row), 3)


def line_name(term: str, row) -> str:
    """Its word, its value, and below them its interval."""
    value, _, limits = interval(row["estimate"], row["conf_low"], row["conf_high"]).partition(" ")
    return f"{AGREEMENT_WORDS[term]} {value}\n{limits}".strip()


def names_mm(lines: dict) -> float:
    """The margin that the names beside the axes need."""
    return max([KEY_MM, *(text_width_mm(line_name(term, row)) + 3 for term, row in lines.items())])


def size_key(axes, most: int, right: float, what: str = "site") -> None:
    """What the largest mark stands for, up to the figure's edge, `right` mm from the axes."""
    if most < 2:
        return
    steps = sorted({1, most} if most < 6 else {1, round(most / 2), most})
    looks = {"marker": "o", "markerfacecolor": LIGHT, "markeredgecolor": DARK, "markeredgewidth": 0.6}
    diameters = np.sqrt(_area(np.array(steps), most))
    labels = [*(f"{n}" for n in steps[:-1]), counted(steps[-1], what)]
    handles = [
        Line2D([], [], linestyle="", markersize=diameter, label=label, **looks)
        for diameter, label in zip(diameters, labels, strict=True)
    ]
    axes.legend(
        handles=handles,
        loc="lower right",
        bbox_to_anchor=(1.0, 1.0),
        bbox_transform=axes.transAxes + _mm_to_the_right(axes, right - 1),
        borderpad=0,
        borderaxespad=0.3,
        handletextpad=0.1,
        columnspacing=0.7,
        ncols=len(handles),
    )


def _mm_to_the_right(axes, mm: float):
    from matplotlib.transforms import ScaledTranslation

    return ScaledTranslation(mm / 25.4, 0, axes.figure.dpi_scale_trans)


def _of_patients(lines: Mapping[str, pd.Series]) -> str:
    """Of how many patients, as the quoted row counts them."""
    row = lines.get("bias")
    return "" if row is None else say("depth.covers_patients", patients=row["n_patients"])


@drawn
def draw_depth_read(steps: pd.DataFrame, agreement: pd.DataFrame) -> Drawing | None:
    """What was read on the gauge less the osteotomy depth that was worked out, against the latter.

    Parameters
    ----------
    steps : derived/steps.csv
    agreement : rows of `depth.read`; without estimates only the readings are drawn
    """
    table = readings(steps)
    if table.empty:
        return None
    depth = table["deepest_before_mm"].astype(float).round(6)
    less = (table["read_depth_mm"].astype(float) - depth).round(6)
    lines, sizes = headline_lines(agreement), pd.Series(1, index=[depth, less]).groupby(level=[0, 1]).size()
    height, right = 46.0, names_mm(lines)
    figure = new_figure(SINGLE_MM, BOTTOM_MM + height + TOP_MM)
    axes = axes_at(figure, LEFT_MM, BOTTOM_MM, SINGLE_MM - LEFT_MM - right, height)
    draw_differences(axes, sizes, int(sizes.max()), lines, "o")
    axes.margins(x=0.08, y=0.1)
    axes.set_xlabel("Osteotomy depth, mm")
    axes.set_ylabel("Gauge less osteotomy, mm")
    axes.set_title(counted(len(table), "reading"), loc="left", pad=4)
    name_lines(axes, lines)
    size_key(axes, int(sizes.max()), right, "reading")
    told = {"readings": len(table), **_signs(less), "lines": _lines_told(lines)}
    covers = say("depth.covers_readings", readings=len(table), sites=table["site_id"].nunique()) + _of_patients(lines)
    return Drawing(figure, say("depth.alt_depth_read", **told), covers)
