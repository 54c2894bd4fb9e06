"""What bone was gained, drawn: gain and marginal bone over time, and the terms of the model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator, FuncFormatter

from liftseries.models.gain.marginal import FAR_MM, marginal_at_visits
from liftseries.models.shared.gates import FEWEST_MEASUREMENTS
from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.report.gain.quoted import is_difference, month_of
from liftseries.report.kit.figures.forest import Axis
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    LIGHT,
    MID,
    TEXT_PT,
    Drawing,
    axes_at,
    drawn,
    new_figure,
    wrapped,
)
from liftseries.report.kit.figures.terms import draw_by_method
from liftseries.report.kit.numbers import counted, decimal, interval, is_withheld, short_count
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.kit.words import Words

MOST_VECTOR_POINTS = 4000  # beyond, single values become pixels: the file would be megabytes of circles
PANEL_MM, LEFT_MM, BOTTOM_MM, HIGH_MM = 70.0, 13.0, 19.0, 58.0
MOST_TICKS = 8
ERRORS = {"corrected": "patients' sandwich", "reml": "the model's own error"}


@dataclass(frozen=True)
class Panel:
    """One outcome over time.

    Attributes
    ----------
    title : of the axis
    quoted : headline rows of results.csv whose term names a month, `mean at 12`
    by_visit : `months, n, mean, sd`
    single : `months` and the value of every measurement
    value : its column
    none : why nothing is drawn, where nothing is
    n_of_rows : whether the number below a headline is that of its sites; else that of the recall's measurements
    """

    title: str
    quoted: pd.DataFrame
    by_visit: pd.DataFrame
    single: pd.DataFrame
    value: str
    none: str
    n_of_rows: bool

    @property
    def means(self) -> pd.DataFrame:
        """`months, n, mean, low, high`, in order: the headlines, and the recalls' means where there is none."""
        rows = self.quoted
        told = pd.DataFrame(
            {
                "months": rows["term"].map(month_of).astype(float),
                "n": rows["n_sites"],
                "mean": rows["estimate"].astype(float),
                "low": rows["conf_low"].astype(float),
                "high": rows["conf_high"].astype(float),
            }
        )
        recalls = self.by_visit[["months", "n", "mean"]].astype({"months": float, "mean": float})
        if not self.n_of_rows:
            told["n"] = told["months"].map(recalls.set_index("months")["n"]).fillna(0)
        enough = recalls["n"].ge(FEWEST_MEASUREMENTS) | recalls["n"].map(is_withheld).astype(bool)
        others = recalls[enough & recalls["mean"].notna() & ~recalls["months"].isin(told["months"])]
        parts = [part for part in (told, others.assign(low=np.nan, high=np.nan)) if len(part)]
        return pd.concat(parts).sort_values("months") if parts else told


@drawn
def draw_bone_over_time(
    gain: pd.DataFrame,
    marginal: pd.DataFrame,
    gain_by_visit: pd.DataFrame,
    bone_by_visit: pd.DataFrame,
    visits: pd.DataFrame,
    cases: pd.DataFrame,
) -> Drawing | None:
    """Bone gain and marginal bone against time since placement, side by side.

    Parameters
    ----------
    gain, marginal : rows of `gain.mixed` and `bone.marginal`
    gain_by_visit, bone_by_visit : `months, n, mean, sd`, mm
    visits, cases : one row a visit and one a site, for the single measurements; without rows only means are drawn
    """
    panels = (
        Panel(
            "Bone gain, mm",
            _means_quoted(gain),
            gain_by_visit,
            gain_at_visits(visits, cases),
            "gain_mm",
            "no visit has a bone height",
            n_of_rows=False,
        ),
        Panel(
            "Marginal bone below platform, mm",
            _means_quoted(marginal),
            bone_by_visit,
            marginal_at_visits(visits, cases),
            "marginal_bone_mm",
            "no visit has a marginal bone level",
            n_of_rows=True,
        ),
    )
    if all(panel.by_visit.empty for panel in panels):
        return None
    height = BOTTOM_MM + HIGH_MM + 3
    figure = new_figure(DOUBLE_MM, height)
    told = []
    for place, panel in enumerate(panels):
        left = LEFT_MM + place * (PANEL_MM + LEFT_MM + 4)
        if panel.by_visit.empty:
            text = wrapped(f"Nothing is drawn: {panel.none}.", PANEL_MM - 10, TEXT_PT)
            x, y = (left + PANEL_MM / 2) / DOUBLE_MM, (BOTTOM_MM + HIGH_MM / 2) / height
            figure.text(x, y, text, size=TEXT_PT, ha="center", va="center")
            told.append(f"{panel.title}: {panel.none}")
            continue
        axes = axes_at(figure, left, BOTTOM_MM, PANEL_MM, HIGH_MM)
        _draw(axes, panel)
        told.append(f"{panel.title}: {_in_words(panel) or 'no mean of five measurements or more'}")
    return Drawing(figure, f"Means over time since placement. {'. '.join(told)}.")


def _means_quoted(rows: pd.DataFrame) -> pd.DataFrame:
    rows = quoted_in(rows)
    return rows[rows["term"].astype(str).str.startswith("mean at ")]


def _draw(axes, panel: Panel) -> None:
    """Measurements, means, and below them how many they are of, in two lines by turns."""
    single, means = panel.single, panel.means
    if len(single):
        axes.plot(
            single["months"].astype(float),
            single[panel.value].astype(float),
            linestyle="",
            marker="o",
            markersize=1.8,
            markerfacecolor=LIGHT,
            markeredgewidth=0,
            alpha=0.55,
            rasterized=len(single) > MOST_VECTOR_POINTS,
        )
    headline = np.isfinite(means["low"].to_numpy(float))
    at = means.loc[headline]
    axes.vlines(at["months"], at["low"], at["high"], color=DARK, linewidth=1.6, zorder=4)
    for part, face in ((at, DARK), (means.loc[~headline], "white")):
        axes.plot(
            part["months"], part["mean"], linestyle="", marker="D", color=DARK, markerfacecolor=face, markersize=4.2,
            zorder=5,
        )  # fmt: skip
    drawn_to = [values.max() for values in (single["months"].astype(float), means["months"]) if len(values)]
    furthest = max([12.0, *drawn_to])
    axes.set_xlim(-0.05 * furthest, 1.05 * furthest)
    step = next(step for step in (12, 24, 60, 120, 10**6) if furthest / step <= MOST_TICKS)
    axes.xaxis.set_major_locator(FixedLocator(np.arange(0, furthest + 1e-9, step)))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}".replace("-", "−")))
    axes.set_xlabel("Months since placement")
    axes.set_ylabel(panel.title)
    if panel.n_of_rows:
        axes.invert_yaxis()  # deeper bone lies lower
    axes.axhline(FAR_MM if panel.n_of_rows else 0.0, color=MID, linewidth=0.8, linestyle=(0, (4, 2)))
    _numbers_below(axes, means, furthest)


def _numbers_below(axes, means: pd.DataFrame, furthest: float) -> None:
    """How many each mean is of; by turns in two lines, so that neighbours do not touch."""
    last = [-np.inf, -np.inf]
    apart = 7.0 * 1.1 * furthest / PANEL_MM
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


def _in_words(panel: Panel) -> str:
    noun = "site" if panel.n_of_rows else "measurement"
    return "; ".join(
        f"{row.months:g} months, {interval(row.mean, row.low, row.high, decimal)}, {counted(row.n, noun)}"
        for row in panel.means.itertuples()
    )


@drawn
def draw_gain_terms(gain: pd.DataFrame, words: Words | None = None) -> Drawing | None:
    """Differences in bone gain by term, with the patients' sandwich and with the model's own error.

    Parameters
    ----------
    gain : rows of `gain.mixed`
    words : names of the study's own columns
    """
    if len(gain):
        gain = gain[gain["method"].isin(list(ERRORS)) & is_difference(gain["term"])]
    axis = Axis("Difference in bone gain, mm", none=0.0, towards=("less gain", "more gain"))
    return draw_by_method(gain, words or Words(), lambda row: ERRORS[row["method"]], axis, "difference in bone gain")
