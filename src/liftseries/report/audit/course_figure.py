"""Each operator's tears observed less expected, case by case, with the band in which they stay by chance."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.ticker import MaxNLocator

from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    LIGHT,
    MID,
    RULE,
    SINGLE_MM,
    TEXT_PT,
    Drawing,
    axes_at,
    drawn,
    new_figure,
)
from liftseries.report.kit.numbers import decimal, missing
from liftseries.report.languages.say import say

ACROSS, NARROW_ACROSS, MOST = 4, 2, 16
PANEL_MM, LEFT_MM, GAP_MM, TITLE_MM, FOOT_MM, EDGE_MM = 13.5, 12.0, 6.0, 5.6, 10.0, 2.0
MOST_POINTS = 240  # of a line: each stretch is as wide as the line is thick
EVERY_UNIT = "all"
MARKS = {"up": "^", "down": "v"}


@drawn
def draw_audit_course(
    charts: pd.DataFrame, bands: pd.DataFrame, cases: pd.DataFrame, changes: pd.DataFrame, narrow: bool = False
) -> Drawing | None:
    """A panel an operator, those with a signal first, then those of most cases; the same height of axis in all.

    Parameters
    ----------
    charts, bands : as the CUSUM leaves them
    cases : one row a site; `site_id, surgery_year, centre`
    changes : `year unit what`
    narrow : at the width of one column
    """
    if charts.empty:
        return None
    units = in_order(charts)[:MOST]
    across = min(NARROW_ACROSS if narrow else ACROSS, len(units))
    down = math.ceil(len(units) / across)
    width_mm = SINGLE_MM if narrow else DOUBLE_MM
    panel_mm = (width_mm - LEFT_MM - EDGE_MM - GAP_MM * (across - 1)) / across
    height_mm = FOOT_MM + down * (PANEL_MM + TITLE_MM) + (down - 1) * 4.0 + EDGE_MM
    figure = new_figure(width_mm, height_mm)
    shown = charts[charts["unit"].isin(units)]
    ends = _ends(shown, bands[bands["unit"].isin(units)])
    places = cases.drop_duplicates("site_id").set_index("site_id")
    for k, unit in enumerate(units):
        row, column = divmod(k, across)
        left = LEFT_MM + column * (panel_mm + GAP_MM)
        bottom = height_mm - EDGE_MM - (row + 1) * (PANEL_MM + TITLE_MM) - row * 4.0
        axes = axes_at(figure, left, bottom, panel_mm, PANEL_MM)
        own = charts[charts["unit"].eq(unit)]
        _panel(axes, unit, own, bands[bands["unit"].eq(unit)], ends)
        for case in cases_of_changes(own, unit, places, changes):
            axes.axvline(case - 0.5, color=INK, linewidth=0.6, linestyle=(0, (1, 1.5)), zorder=0)
        axes.tick_params(labelleft=column == 0)
    figure.text(0.5, 1.6 / height_mm, say("audit.axis_case"), ha="center", va="bottom")
    figure.text(2.0 / width_mm, 0.5, say("audit.axis_course"), rotation=90, ha="left", va="center")
    return Drawing(
        figure, _alt(charts, units), say("audit.covers_course", shown=len(units), n=charts["unit"].nunique())
    )


def in_order(charts: pd.DataFrame) -> list[str]:
    """The units: those with a signal first, then by number of cases."""
    size = charts.groupby("unit", sort=False)["case"].max()
    signal = charts.assign(signal=charts["signal"].fillna("").ne("")).groupby("unit", sort=False)["signal"].any()
    return sorted(size.index, key=lambda unit: (not signal[unit], -size[unit], unit))


def _ends(charts: pd.DataFrame, bands: pd.DataFrame) -> tuple[float, float]:
    low = min(charts["observed_less_expected"].min(), bands["low"].min() if len(bands) else 0, -1)
    high = max(charts["observed_less_expected"].max(), bands["high"].max() if len(bands) else 0, 1)
    room = 0.08 * (high - low)
    return float(low - room), float(high + room)


def _panel(axes, unit: str, own: pd.DataFrame, band: pd.DataFrame, ends: tuple[float, float]) -> None:
    if len(band):
        axes.fill_between(band["case"], band["low"], band["high"], color=LIGHT, alpha=0.5, linewidth=0)
    axes.axhline(0, color=RULE, linewidth=0.8)
    line = _thinned(own)
    axes.plot(line["case"], line["observed_less_expected"], color=DARK, linewidth=1.1)
    for _, row in own[own["signal"].fillna("").ne("")].iterrows():
        for name in str(row["signal"]).split():
            axes.plot(row["case"], row["observed_less_expected"], marker=MARKS[name], color=INK,
                      markerfacecolor=MID, markersize=5.5, zorder=4)  # fmt: skip
    axes.set(xlim=(0, max(2.0, 1.05 * own["case"].max())), ylim=ends)
    axes.xaxis.set_major_locator(MaxNLocator(3, integer=True))
    axes.yaxis.set_major_locator(MaxNLocator(3, integer=True))
    axes.set_title(unit, loc="left", size=TEXT_PT, weight="bold", pad=2)


def _thinned(own: pd.DataFrame) -> pd.DataFrame:
    """Of a long course the lowest and highest case of each stretch, the first, the last and those with a signal."""
    if len(own) <= MOST_POINTS:
        return own
    stretch = np.arange(len(own)) * (MOST_POINTS // 2) // len(own)
    height = own["observed_less_expected"].reset_index(drop=True).groupby(stretch)
    signals = np.flatnonzero(own["signal"].fillna("").ne(""))
    return own.iloc[np.unique([0, *height.idxmin(), *height.idxmax(), *signals, len(own) - 1])]


def cases_of_changes(own: pd.DataFrame, unit: str, places: pd.DataFrame, changes: pd.DataFrame) -> list[float]:
    """The first case from each change on, of the unit, its centre or everyone; none of the unit's first year."""
    if changes.empty or "surgery_year" not in places:
        return []
    sites = own["site_id"].astype(str)
    year = pd.to_numeric(sites.map(places["surgery_year"].set_axis(places.index.astype(str)))).to_numpy(float)
    centres: Sequence = []
    if "centre" in places:
        centres = sites.map(places["centre"].astype(object).set_axis(places.index.astype(str))).dropna().unique()
    whose = {unit, EVERY_UNIT, *map(str, centres)}
    found = set()
    for _, change in changes.iterrows():
        if missing(change["unit"]) or str(change["unit"]) in whose:
            after = own["case"].to_numpy()[year >= float(change["year"])]
            if len(after) and np.nanmin(year) < float(change["year"]):
                found.add(float(after.min()))
    return sorted(found)


def _alt(charts: pd.DataFrame, units: Sequence[str]) -> str:
    told = []
    for unit in units:
        own = charts[charts["unit"].eq(unit)]
        n = int(own["signal"].fillna("").ne("").sum())
        end = decimal(float(own["observed_less_expected"].iloc[-1]), 1)
        told.append(say("audit.alt_course_unit", unit=unit, end=end, cases=len(own), signals=n))
    return say("audit.alt_course", units="; ".join(told))
