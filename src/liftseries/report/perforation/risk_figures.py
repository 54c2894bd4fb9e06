"""The modelled risk of a perforation, drawn: along residual height, and by two ways along height and lift."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FuncFormatter, MaxNLocator

from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    LIGHT,
    MID,
    SINGLE_MM,
    Drawing,
    axes_at,
    drawn,
    new_figure,
)
from liftseries.report.kit.numbers import interval, percent
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.languages.say import say
from liftseries.report.perforation.sentences import HEIGHT, LIFT, covered

BIN_MM = 0.5
MOST_OF_SITES = (0.01, 0.99)  # no curve beyond what lies between these quantiles
LEFT_MM, RIGHT_MM, TOP_MM = 14.0, 3.0, 3.0
CURVE_MM, BARS_MM, BOTTOM_MM, BETWEEN_MM = 38.0, 15.0, 10.0, 3.0
SPLINE = "standardised"
PANELS = {HEIGHT: "Residual bone height, mm", LIFT: "Planned lift, mm"}


@drawn
def draw_risk_curve(height: pd.DataFrame, cases: pd.DataFrame, narrow: bool = False) -> Drawing | None:
    """The quoted risk along residual height with its band, and how many sites had how much bone.

    Parameters
    ----------
    height : rows of `perforation.risk`, of which the quoted ones are drawn
    cases : one row a site; `rbh_mid_mm, perforation`
    """
    quoted = _along(quoted_in(height))
    known = cases["perforation"].astype(object).isin(["yes", "no"]).to_numpy(bool) if len(cases) else []
    values = pd.to_numeric(cases["rbh_mid_mm"], errors="coerce")[known].dropna().to_numpy(float) if len(cases) else []
    if len(values):
        quoted = quoted[quoted["value_mm"].between(*np.quantile(values, MOST_OF_SITES))]
    if len(quoted) < 2:
        return None
    width = SINGLE_MM if narrow else DOUBLE_MM
    figure = new_figure(width, BOTTOM_MM + BARS_MM + BETWEEN_MM + CURVE_MM + TOP_MM)
    across = width - LEFT_MM - RIGHT_MM
    axes = axes_at(figure, LEFT_MM, BOTTOM_MM + BARS_MM + BETWEEN_MM, across, CURVE_MM)
    bars = axes_at(figure, LEFT_MM, BOTTOM_MM, across, BARS_MM, sharex=axes)
    axes.fill_between(quoted["value_mm"], quoted["conf_low"], quoted["conf_high"], color=LIGHT, alpha=0.55, linewidth=0)
    axes.plot(quoted["value_mm"], quoted["estimate"], color=DARK, linewidth=1.4)
    _risk_axis(axes, float(quoted["conf_high"].max()))
    axes.set_ylabel("Risk, %")
    axes.tick_params(labelbottom=False)
    edges = np.arange(np.floor(values.min() / BIN_MM), np.floor(values.max() / BIN_MM) + 2) * BIN_MM
    bars.bar(edges[:-1], np.histogram(values, edges)[0], BIN_MM, align="edge", facecolor=MID, edgecolor="white",
             linewidth=0.5)  # fmt: skip
    bars.yaxis.set_major_locator(MaxNLocator(3, integer=True))
    bars.set_ylabel("Sites")
    bars.set_xlabel(PANELS[HEIGHT])
    bars.set_xlim(edges[0] - 0.1, edges[-1] + 0.1)
    for one in (axes, bars):
        one.yaxis.set_label_coords(-9.5 / across, 0.5)
    ends = quoted.iloc[sorted({0, len(quoted) // 2, len(quoted) - 1})]
    return Drawing(figure, say("perforation.alt_risk", told=_told(ends)), covered(quoted.iloc[0]))


@drawn
def draw_risk_shapes(
    curves: pd.DataFrame, height: pd.DataFrame, lift: pd.DataFrame, narrow: bool = False
) -> Drawing | None:
    """The risk along residual height and planned lift: the spline with its band, and the quoted model's risks, dashed.

    Parameters
    ----------
    curves : `exposure, method, value_mm, risk, conf_low, conf_high, n_sites`; drawn are splines, of enough perforations
    height, lift : rows of `perforation.risk` and `perforation.risk_lift`, of which the quoted ones are drawn
    """
    curves = curves[curves["method"].eq(SPLINE) & curves["risk"].notna()] if len(curves) else curves
    panels = {name: curves[curves["exposure"].eq(name)] for name in PANELS} if len(curves) else {}
    panels = {name: panel for name, panel in panels.items() if len(panel) > 1}
    if not panels:
        return None
    columns = 1 if narrow else len(panels)
    width = SINGLE_MM if columns == 1 else DOUBLE_MM
    rows, tall = len(panels) // columns, CURVE_MM + BOTTOM_MM + TOP_MM
    across = width / columns - LEFT_MM - RIGHT_MM
    figure = new_figure(width, rows * tall)
    top = max(float(panel["conf_high"].max()) for panel in panels.values())
    told = []
    for k, (name, panel) in enumerate(panels.items()):
        left, up = (k % columns) * width / columns + LEFT_MM, (rows - 1 - k // columns) * tall + BOTTOM_MM
        axes = axes_at(figure, left, up, across, CURVE_MM)
        axes.fill_between(
            panel["value_mm"], panel["conf_low"], panel["conf_high"], color=LIGHT, alpha=0.55, linewidth=0
        )
        axes.plot(panel["value_mm"], panel["risk"], color=DARK, linewidth=1.4)
        quoted = _along(quoted_in(height if name == HEIGHT else lift))
        axes.plot(quoted["value_mm"], quoted["estimate"], color=MID, linewidth=1.2, linestyle=(0, (5, 2)))
        axes.set_xlim(float(panel["value_mm"].min()), float(panel["value_mm"].max()))
        _risk_axis(axes, top)
        axes.set_xlabel(PANELS[name])
        axes.set_ylabel("Risk, %")
        if len(quoted):
            told.append(say("perforation.alt_along", measure=PANELS[name], told=_told(quoted.iloc[[0, -1]])))
    rests = pd.concat([quoted_in(height), quoted_in(lift)])
    return Drawing(figure, say("perforation.alt_shapes", told="; ".join(told)), covered(rests.iloc[0]) if told else "")


def _along(rows: pd.DataFrame) -> pd.DataFrame:
    """Risks along a measure, from low to high, with `value_mm`."""
    if rows.empty:
        return rows.assign(value_mm=[])
    return rows.assign(value_mm=rows["term"].astype(float)).sort_values("value_mm")


def _risk_axis(axes, most: float) -> None:
    axes.set_ylim(0, min(1.0, 1.05 * max(0.05, most)))
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.grid(axis="y")


def _told(rows: pd.DataFrame) -> str:
    return "; ".join(
        say("perforation.risk_at", risk=interval(row["estimate"], row["conf_low"], row["conf_high"], percent),
            mm=row["term"])
        for _, row in rows.iterrows()
    )  # fmt: skip
