"""How deep was drilled, drawn: achieved against planned, deviations by kind."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter

from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    LIGHT,
    LOOKS,
    MID,
    Drawing,
    Look,
    axes_at,
    drawn,
    name_beside,
    new_figure,
    nothing_drawn,
    text_width_mm,
)
from liftseries.report.kit.numbers import counted, decimal, interval, missing, share_of
from liftseries.report.kit.words import CANNOT_OCCUR, DEVIATIONS, IMPOSSIBLE

AGREEMENT_WORDS = {"high": "upper limit", "bias": "bias", "low": "lower limit"}


@drawn
def draw_planned_achieved(cases: pd.DataFrame, agreement: pd.DataFrame) -> Drawing:
    """Achieved less planned last depth against the planned one, with bias and limits of agreement.

    Parameters
    ----------
    cases : one row a site; `approach, planned_last_mm, achieved_last_mm`
    agreement : rows of `depth.agreement`; without estimates only the sites are drawn
    """
    wanted = ["planned_last_mm", "achieved_last_mm"]
    if not set(wanted) <= set(cases):
        return nothing_drawn("no site has both a planned and an achieved last depth")
    table = cases[["approach", *wanted]].assign(**{name: pd.to_numeric(cases[name]) for name in wanted}).dropna()
    if table.empty:
        return nothing_drawn("no site has both a planned and an achieved last depth")
    table["error_mm"] = (table["achieved_last_mm"] - table["planned_last_mm"]).astype(float).round(6)
    table["planned_last_mm"] = table["planned_last_mm"].astype(float).round(6)
    levels = [level for level in ("guided", "freehand") if table["approach"].eq(level).any()]
    lines = {row["term"]: row for _, row in agreement.iterrows() if not missing(row["estimate"])}

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
        axes.axhline(0, color=INK, linewidth=0.6)
        for term, row in lines.items():
            axes.axhline(row["estimate"], color=MID, linewidth=1.1, linestyle="-" if term == "bias" else (0, (4, 2)))
        sizes = spots[level]
        axes.scatter(
            sizes.index.get_level_values(0),
            sizes.index.get_level_values(1),
            s=_area(sizes.to_numpy(), most),
            facecolor=LIGHT,
            edgecolor=DARK,
            linewidth=0.6,
            marker="o" if k == 0 else "D",
        )
        axes.set_xlim(x.min() - x_room, x.max() + x_room)
        axes.set_ylim(y.min() - y_room, y.max() + y_room)
        axes.set_xlabel("Planned last depth below the crest, mm")
        axes.set_title(f"{level}, {counted(len(table[table['approach'].eq(level)]), 'site')}", loc="left", pad=4)
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}".replace("-", "−")))
        if k:
            axes.tick_params(labelleft=False)
        else:
            axes.set_ylabel("Achieved less planned, mm")
    _name_lines(axes, lines)
    _size_key(figure, axes, most)

    return Drawing(figure, _agreement_told(table, lines))


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


def _name_lines(axes, lines: dict) -> None:
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


def _size_key(figure, axes, most: int) -> None:
    """What the largest mark stands for."""
    if most < 2:
        return
    steps = sorted({1, most} if most < 6 else {1, round(most / 2), most})
    looks = {"marker": "o", "markerfacecolor": LIGHT, "markeredgecolor": DARK, "markeredgewidth": 0.6}
    diameters = np.sqrt(_area(np.array(steps), most))
    labels = [*(f"{n}" for n in steps[:-1]), counted(steps[-1], "site")]
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
def draw_deviations(deviations: pd.DataFrame) -> Drawing:
    """Share of logged sites with each deviation, guided and freehand apart.

    Parameters
    ----------
    deviations : `deviation, subset, n_sites, n_true, share`
        Of the subsets those by approach are drawn, or `all` where there are none.
    """
    judged = deviations[pd.to_numeric(deviations["n_sites"]).ne(0)] if len(deviations) else deviations
    if judged.empty:
        return nothing_drawn("no site has a drilling log, so no deviation can be judged")
    subsets = [subset for subset in judged["subset"].unique() if subset.startswith("approach=")] or ["all"]
    subsets.sort(key=lambda subset: subset != "approach=guided")
    kinds = list(dict.fromkeys(judged["deviation"]))
    cell = judged.set_index(["deviation", "subset"])
    names = [DEVIATIONS.get(kind, kind) for kind in kinds]
    texts = {(kind, subset): _share_told(cell, kind, subset) for kind in kinds for subset in subsets}
    heads = [subset.partition("=")[2] or "all sites" for subset in subsets]
    label_mm = max(text_width_mm(name) for name in names) + 5
    column_mm = max(text_width_mm(text) for text in [*texts.values(), *heads]) + 4
    row_mm, bottom = 6.4, 11.0
    height = bottom + row_mm * len(kinds) + 8
    figure = new_figure(DOUBLE_MM, height)
    width = DOUBLE_MM - label_mm - column_mm * len(subsets) - 8
    axes = axes_at(figure, label_mm, bottom, width, row_mm * len(kinds))
    shares = pd.to_numeric(judged["share"])
    most = shares[judged["subset"].isin(subsets)].max()
    axes.set(ylim=(len(kinds) - 0.5, -0.5), xlim=(0, 0.05 if missing(most) else max(0.05, 1.08 * most)))
    axes.grid(axis="x")
    axes.set_yticks(range(len(kinds)), names)
    axes.tick_params(axis="y", length=0, pad=6)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.set_xlabel("Sites with a drilling log that show it, %")
    offsets = np.linspace(-0.17, 0.17, len(subsets)) if len(subsets) > 1 else [0.0]
    for k, (subset, offset) in enumerate(zip(subsets, offsets, strict=True)):
        look = LOOKS[k % len(LOOKS)]
        column = (label_mm + width + 6 + k * column_mm + 4.5) / DOUBLE_MM
        top = (bottom + row_mm * len(kinds) + 3.2) / height
        figure.text(column, top, heads[k], weight="bold", va="center")
        figure.add_artist(
            Line2D(
                [column - 2.4 / DOUBLE_MM],
                [top],
                marker=look.marker,
                color=look.colour,
                markerfacecolor=look.face,
            )
        )
        for at, kind in enumerate(kinds):
            y = (bottom + row_mm * (len(kinds) - at - 0.5)) / height
            figure.text(column, y, texts[kind, subset], va="center")
            if (kind, subset) in cell.index and (kind, subset) not in IMPOSSIBLE:
                _draw_share(axes, float(cell.loc[(kind, subset), "share"]), at + offset, look)
    told = "; ".join(
        f"{name.lower()}: "
        + ", ".join(f"{head} {texts[kind, subset]}" for head, subset in zip(heads, subsets, strict=True))
        for kind, name in zip(kinds, names, strict=True)
    )
    return Drawing(figure, f"Share of sites with a drilling log that show each deviation. {told}.")


def _share_told(cell: pd.DataFrame, kind: str, subset: str) -> str:
    """How many of the sites show a deviation; `cell` has a row a deviation and subset."""
    if (kind, subset) in IMPOSSIBLE:
        return CANNOT_OCCUR
    if (kind, subset) not in cell.index:
        return "none judged"
    return share_of(cell.loc[(kind, subset), "n_true"], cell.loc[(kind, subset), "n_sites"])


def _draw_share(axes, share: float, y: float, look: Look) -> None:
    """A line from nothing to the share, and its mark."""
    axes.plot([0, share], [y] * 2, color=look.colour, linewidth=0.9, linestyle=look.line)
    axes.plot(share, y, marker=look.marker, color=look.colour, markerfacecolor=look.face, clip_on=False, zorder=3)
