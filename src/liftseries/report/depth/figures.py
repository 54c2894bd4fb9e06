"""How deep was drilled, drawn: achieved against planned, readings against the arithmetic."""

from __future__ import annotations

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
    Drawing,
    axes_at,
    drawn,
    name_beside,
    new_figure,
)
from liftseries.report.kit.numbers import counted, decimal, interval
from liftseries.report.kit.quoted import quoted_in

AGREEMENT_WORDS = {"high": "upper limit", "bias": "bias", "low": "lower limit"}


@drawn
def draw_planned_achieved(cases: pd.DataFrame, agreement: pd.DataFrame) -> Drawing | None:
    """Achieved less planned last depth against the planned one, with bias and limits of agreement.

    Parameters
    ----------
    cases : one row a site; `approach, planned_last_mm, achieved_last_mm`
    agreement : rows of `depth.agreement`; without estimates only the sites are drawn
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

    left, bottom, right, panel_height = 16.0, 11.0, 37.0, 56.0
    width = (DOUBLE_MM - left - right - 4 * (len(levels) - 1)) / len(levels)
    figure = new_figure(DOUBLE_MM, bottom + panel_height + 7)
    spots = {
        level: table[table["approach"].eq(level)].groupby(["planned_last_mm", "error_mm"]).size() for level in levels
    }
    most = max(sizes.max() for sizes in spots.values())
    x = table["planned_last_mm"]
    y = np.r_[table["error_mm"], [row["estimate"] for row in lines.values()], 0.0]
    x_room, y_room = 0.06 * (np.ptp(x) or 1) + 0.2, 0.09 * (np.ptp(y) or 1)
    for k, level in enumerate(levels):
        axes = axes_at(figure, left + k * (width + 4), bottom, width, panel_height)
        draw_differences(axes, spots[level], most, lines, "o" if k == 0 else "D")
        axes.set_xlim(x.min() - x_room, x.max() + x_room)
        axes.set_ylim(y.min() - y_room, y.max() + y_room)
        axes.set_xlabel("Planned last depth below the crest, mm")
        axes.set_title(f"{level}, {counted(len(table[table['approach'].eq(level)]), 'site')}", loc="left", pad=4)
        if k:
            axes.tick_params(labelleft=False)
        else:
            axes.set_ylabel("Achieved less planned, mm")
    name_lines(axes, lines)
    size_key(axes, most)

    return Drawing(figure, _agreement_told(table, lines))


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
    axes.axhline(0, color=INK, linewidth=0.6)
    for term, row in lines.items():
        axes.axhline(row["estimate"], color=MID, linewidth=1.1, linestyle="-" if term == "bias" else (0, (4, 2)))
    axes.scatter(
        sizes.index.get_level_values(0),
        sizes.index.get_level_values(1),
        s=_area(sizes.to_numpy(), most),
        facecolor=LIGHT,
        edgecolor=DARK,
        linewidth=0.6,
        marker=marker,
    )
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}".replace("-", "−")))


def headline_lines(agreement: pd.DataFrame) -> dict:
    """Term -> its headline row, of the rows of an agreement that have an estimate."""
    return {row["term"]: row for _, row in quoted_in(agreement).iterrows()}


def _agreement_told(table: pd.DataFrame, lines: dict) -> str:
    """How many sites lie where, and the lines, in words."""
    named = [f"{AGREEMENT_WORDS.get(term, term)} {decimal(row['estimate'])} mm" for term, row in lines.items()]
    deeper = int((table["error_mm"] > 1e-6).sum())
    shallower = int((table["error_mm"] < -1e-6).sum())
    return (
        f"Achieved less planned last depth against the planned depth for {counted(len(table), 'site')}: "
        f"{deeper} deeper than planned, {shallower} shallower, {len(table) - deeper - shallower} as planned"
        f"; {', '.join(named) if named else 'no limits of agreement could be estimated'}."
    )


def _area(sizes: np.ndarray, most: int) -> np.ndarray:
    """Areas in square points, proportional to the number of sites; the largest never hides its neighbours."""
    return 9 + 91 * (np.asarray(sizes, float) - 1) / max(most - 1, 1)


def name_lines(axes, lines: dict) -> None:
    """Names beside the axes at the height of each line, pushed apart where they would meet."""
    low, high = axes.get_ylim()
    least = 0.11 * (high - low)
    placed = -np.inf
    for term in ("low", "bias", "high"):
        if term in lines:
            row = lines[term]
            placed = max(row["estimate"], placed + least)
            numbers = interval(row["estimate"], row["conf_low"], row["conf_high"])
            text = f"{AGREEMENT_WORDS[term]}\n{numbers}"
            name_beside(axes, placed, text)


def size_key(axes, most: int, what: str = "site") -> None:
    """What the largest mark stands for."""
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
        loc="lower left",
        bbox_to_anchor=(1.03, 0.99),
        borderpad=0,
        handletextpad=0.1,
        columnspacing=0.7,
        ncols=len(handles),
    )


@drawn
def draw_depth_read(steps: pd.DataFrame, agreement: pd.DataFrame) -> Drawing | None:
    """What was read on the gauge less the depth of the hole as recomputed, against the latter.

    Parameters
    ----------
    steps : derived/steps.csv
    agreement : rows of `depth.read`; without estimates only the readings are drawn
    """
    table = readings(steps)
    if table.empty:
        return None
    hole = table["deepest_before_mm"].astype(float).round(6)
    less = (table["read_depth_mm"].astype(float) - hole).round(6)
    lines, sizes = headline_lines(agreement), pd.Series(1, index=[hole, less]).groupby(level=[0, 1]).size()
    left, bottom, right, height = 16.0, 11.0, 44.0, 50.0
    figure = new_figure(DOUBLE_MM, bottom + height + 7)
    axes = axes_at(figure, left, bottom, DOUBLE_MM - left - right, height)
    draw_differences(axes, sizes, int(sizes.max()), lines, "o")
    axes.margins(x=0.05, y=0.1)
    axes.set_xlabel("Depth of the hole as recomputed from instrument and stop, mm below the crest")
    axes.set_ylabel("Read less recomputed, mm")
    axes.set_title(counted(len(table), "reading"), loc="left", pad=4)
    name_lines(axes, lines)
    size_key(axes, int(sizes.max()), "reading")
    named = [f"{AGREEMENT_WORDS.get(term, term)} {decimal(row['estimate'])} mm" for term, row in lines.items()]
    deeper, less_deep = int((less > 1e-6).sum()), int((less < -1e-6).sum())
    return Drawing(
        figure,
        f"Depth read on the gauge less the depth of the hole as recomputed, for {counted(len(table), 'reading')}: "
        f"{deeper} read deeper, {less_deep} less deep, {len(table) - deeper - less_deep} alike; "
        f"{', '.join(named) if named else 'no limits of agreement could be estimated'}.",
    )
