"""Bone over time, drawn: gain and marginal bone at the recalls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator, FuncFormatter

from liftseries.models.gain.marginal import FAR_MM
from liftseries.models.shared.gates import FEWEST_MEASUREMENTS
from liftseries.report.gain.quoted import CHANGE, MEAN, month_of
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    MID,
    RULE,
    SINGLE_MM,
    Drawing,
    axes_at,
    drawn,
    new_figure,
)
from liftseries.report.kit.numbers import interval, is_withheld, missing, short_count
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.languages.say import say

LEFT_MM, RIGHT_MM, BOTTOM_MM, TOP_MM, HIGH_MM = 13.0, 3.0, 18.0, 3.0, 40.0
MOST_TICKS = 8
BAR_PT = 4.0


@dataclass(frozen=True)
class Panel:
    """One outcome over time.

    Attributes
    ----------
    title : of the axis
    quoted : headline rows of results.csv whose term names a month, `mean at 12`
    by_visit : `months, n, mean, sd`
    limit : a level that a dashed line marks, and what it is called
    downwards : whether more lies lower
    """

    title: str
    quoted: pd.DataFrame
    by_visit: pd.DataFrame
    limit: tuple[float, str]
    downwards: bool = False

    @property
    def means(self) -> pd.DataFrame:
        """`months, n, mean, sd, low, high`, in order: the headlines, and the recalls' means where there is none."""
        rows, recalls = self.quoted, self.by_visit[["months", "n", "mean", "sd"]].astype(float)
        told = pd.DataFrame(
            {
                "months": rows["term"].map(month_of).astype(float),
                "n": rows["n_sites"].astype(float),
                "mean": rows["estimate"].astype(float),
                "low": rows["conf_low"].astype(float),
                "high": rows["conf_high"].astype(float),
            }
        )
        told["sd"] = told["months"].map(recalls.set_index("months")["sd"])
        enough = recalls["n"].ge(FEWEST_MEASUREMENTS) | recalls["n"].map(is_withheld).astype(bool)
        others = recalls[enough & recalls["mean"].notna() & ~recalls["months"].isin(told["months"])]
        parts = [part for part in (told, others.assign(low=np.nan, high=np.nan)) if len(part)]
        return pd.concat(parts).sort_values("months", ignore_index=True) if parts else told


@drawn
def draw_bone_over_time(
    gain: pd.DataFrame,
    marginal: pd.DataFrame,
    gain_by_visit: pd.DataFrame,
    bone_by_visit: pd.DataFrame,
    narrow: bool = False,
) -> Drawing | None:
    """Bone gain and marginal bone at the recalls: panels side by side, or one above the other in one column.

    Parameters
    ----------
    gain, marginal : rows of `gain.mixed` and `bone.marginal`
    gain_by_visit, bone_by_visit : `months, n, mean, sd`, mm
    narrow : the layout of one column
    """
    panels = (
        Panel("Bone gain, mm", _means_quoted(gain), gain_by_visit, (0.0, "no gain")),
        Panel("Marginal bone level, mm", _means_quoted(marginal), bone_by_visit, (FAR_MM, "2 mm"), True),
    )
    shown = [panel for panel in panels if len(panel.means)]
    if not shown:
        return None
    beside = not narrow and len(shown) == 2
    width, stacked = (DOUBLE_MM if beside else SINGLE_MM), (1 if beside else len(shown))
    high = BOTTOM_MM + HIGH_MM + TOP_MM
    figure = new_figure(width, stacked * high)
    panel_mm = (DOUBLE_MM / 2 if beside else SINGLE_MM) - LEFT_MM - RIGHT_MM
    for place, panel in enumerate(shown):
        left = LEFT_MM + (place * width / 2 if beside else 0)
        bottom = BOTTOM_MM + (0 if beside else (stacked - 1 - place) * high)
        _draw(axes_at(figure, left, bottom, panel_mm, HIGH_MM), panel, panel_mm)
    covered = _covers(gain, "gain.covers_gain"), _covers(marginal, "gain.covers_marginal")
    covers = "; ".join(filter(None, covered))
    told = [say("gain.figure_panel", title=panel.title, means=_in_words(panel)) for panel in shown]
    return Drawing(figure, say("gain.figure_alt", panels=". ".join(told)), covers[:1].upper() + covers[1:])


def _means_quoted(rows: pd.DataFrame) -> pd.DataFrame:
    rows = quoted_in(rows)
    return rows[rows["term"].astype(str).str.startswith(MEAN)]


def _covers(rows: pd.DataFrame, name: str) -> str:
    """The sites and patients of which a measurement entered the model."""
    rows = quoted_in(rows)
    rows = rows[rows["term"].eq(CHANGE)]
    return "" if rows.empty else say(name, sites=rows["n_sites"].iloc[0], patients=rows["n_patients"].iloc[0])


def _draw(axes, panel: Panel, panel_mm: float) -> None:
    """Spread, means, and below them how many they are of, in two lines by turns."""
    means = panel.means
    spread = means[means["sd"].notna()]
    axes.vlines(
        spread["months"], spread["mean"] - spread["sd"], spread["mean"] + spread["sd"], color=RULE, linewidth=BAR_PT
    )
    quoted = means["low"].notna()
    at = means[quoted]
    axes.vlines(at["months"], at["low"], at["high"], color=DARK, linewidth=1.2, zorder=4)
    for part, face in ((at, DARK), (means[~quoted], "white")):
        axes.plot(
            part["months"], part["mean"], linestyle="", marker="o", color=DARK, markerfacecolor=face, markersize=2.8,
            markeredgewidth=0.8, zorder=5,
        )  # fmt: skip
    furthest = max(12.0, means["months"].max())
    axes.set_xlim(-0.05 * furthest, 1.05 * furthest)
    step = next(step for step in (12, 24, 60, 120, 10**6) if furthest / step <= MOST_TICKS)
    axes.xaxis.set_major_locator(FixedLocator(np.arange(0, furthest + 1e-9, step)))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}".replace("-", "−")))
    axes.set_xlabel("Months since placement")
    axes.set_ylabel(panel.title)
    limit, called = panel.limit
    axes.axhline(limit, color=MID, linewidth=0.8, linestyle=(0, (4, 2)))
    axes.annotate(
        called, (1.0, limit), xycoords=("axes fraction", "data"), xytext=(0, 2), textcoords="offset points", ha="right",
        va="bottom", color=MID,
    )  # fmt: skip
    if panel.downwards:
        axes.invert_yaxis()  # deeper bone lies lower
    _numbers_below(axes, means, 7.0 * 1.1 * furthest / panel_mm)


def _numbers_below(axes, means: pd.DataFrame, apart: float) -> None:
    """How many each mean is of; by turns in two lines, so that neighbours do not touch. None where none is told."""
    if means["n"].map(is_withheld).all():
        return
    last = [-np.inf, -np.inf]
    for place, (month, n) in enumerate(zip(means["months"], means["n"], strict=True)):
        line = place % 2
        if month - last[line] < apart:
            continue
        last[line] = month
        axes.annotate(
            short_count(n), (month, 0), xycoords=("data", "axes fraction"), xytext=(0, -29 - 9 * line),
            textcoords="offset points", ha="center", va="center", annotation_clip=False,
        )  # fmt: skip
    axes.annotate(
        "n", (0, 0), xycoords="axes fraction", xytext=(-14, -29), textcoords="offset points", ha="center", va="center"
    )


def _in_words(panel: Panel) -> list[str]:
    return [
        say(
            "gain.figure_mean",
            mean=interval(row.mean, None if missing(row.low) else row.low, row.high),
            month=f"{row.months:g}",
            n=row.n,
        )
        for row in panel.means.itertuples(index=False)
    ]
