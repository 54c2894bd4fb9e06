"""Tears by year of surgery, and by the operators' case number."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

from liftseries.base.remarks import remarks_in
from liftseries.report.audit.units import levels_of
from liftseries.report.kit.figures.style import DARK, INK, LIGHT, SINGLE_MM, Drawing, axes_at, drawn, new_figure
from liftseries.report.kit.numbers import missing, percent
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.languages.say import say

HEIGHT_MM, LEFT_MM, BOTTOM_MM = 52.0, 14.0, 11.0
FEWEST_OPERATORS, FEWEST_TEARS = 5, 30
EVERY_UNIT = "all"


@drawn
def draw_audit_years(years: pd.DataFrame, changes: pd.DataFrame) -> Drawing | None:
    """The rate of each year with its interval; dotted: a change that all units made.

    Parameters
    ----------
    years : rows of `audit.year`
    changes : `year unit what`
    """
    rows = quoted_in(years)
    rows = rows[rows["term"].eq("rate")] if len(rows) else rows
    if len(rows) < 2:
        return None
    year = levels_of(rows).astype(float).to_numpy()
    figure, axes = _axes()
    for one, (_, row) in zip(year, rows.iterrows(), strict=True):
        axes.plot([one, one], [row["conf_low"], row["conf_high"]], color=DARK, linewidth=1.1)
        axes.plot(one, row["estimate"], marker="s", color=DARK, markersize=3.8)
    for _, change in changes.iterrows():
        everyone = missing(change["unit"]) or str(change["unit"]) == EVERY_UNIT
        if everyone and year.min() < float(change["year"]) <= year.max():
            axes.axvline(float(change["year"]) - 0.5, color=INK, linewidth=0.7, linestyle=(0, (1, 1.5)))
    axes.set(
        xlim=(year.min() - 0.6, year.max() + 0.6), ylim=(0, min(1.0, 1.08 * np.nanmax(rows["conf_high"].astype(float))))
    )
    axes.xaxis.set_major_locator(MaxNLocator(8, integer=True))
    axes.set_xlabel(say("audit.axis_year"))
    told = [
        say("audit.alt_year", year=f"{one:g}", rate=percent(row["estimate"]))
        for one, (_, row) in zip(year, rows.iterrows(), strict=True)
    ]
    covers = say("audit.covers", sites=int(rows["n_sites"].sum()), events=int(rows["n_events"].sum()))
    return Drawing(figure, say("audit.alt_years", years="; ".join(told)), covers)


@drawn
def draw_audit_learning(learning: pd.DataFrame) -> Drawing | None:
    """The standardised risk along the case number; none below five operators or thirty tears.

    Parameters
    ----------
    learning : rows of `audit.learning`
    """
    rows = quoted_in(learning)
    if not may_be_drawn(rows):
        return None
    case = rows["term"].astype(float).to_numpy()
    figure, axes = _axes()
    axes.fill_between(case, rows["conf_low"], rows["conf_high"], color=LIGHT, alpha=0.5, linewidth=0)
    axes.plot(case, rows["estimate"], color=DARK, marker="s", markersize=3.5)
    axes.set_xscale("log")
    axes.set(xlim=(0.9 * case.min(), 1.1 * case.max()), ylim=(0, 1.0))
    top = float(rows["conf_high"].max())
    axes.set_ylim(0, min(1.0, 1.08 * top))
    axes.xaxis.set_major_locator(FixedLocator(case))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.set_xlabel(say("audit.axis_learning"))
    told = [
        say("audit.alt_case", case=f"{one:g}", risk=percent(risk))
        for one, risk in zip(case, rows["estimate"], strict=True)
    ]
    row = rows.iloc[0]
    covers = say("audit.covers", sites=int(row["n_sites"]), events=int(row["n_events"]))
    return Drawing(figure, say("audit.alt_learning", cases="; ".join(told)), covers)


def may_be_drawn(rows: pd.DataFrame) -> bool:
    """Whether there are operators and tears enough for a curve."""
    if len(rows) < 2:
        return False
    operators = [one.holes["n_operators"] for one in remarks_in(rows.iloc[0]["note"]) if "n_operators" in one.holes]
    return bool(operators) and operators[0] >= FEWEST_OPERATORS and int(rows.iloc[0]["n_events"]) >= FEWEST_TEARS


def _axes():
    figure = new_figure(SINGLE_MM, HEIGHT_MM)
    axes = axes_at(figure, LEFT_MM, BOTTOM_MM, SINGLE_MM - LEFT_MM - 3.0, HEIGHT_MM - BOTTOM_MM - 3.0)
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.grid(axis="y")
    axes.set_ylabel(say("audit.axis_rate"))
    return figure, axes
