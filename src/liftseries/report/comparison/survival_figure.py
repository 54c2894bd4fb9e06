"""Kaplan-Meier curves of the groups, weighted where weights stand, with the numbers at risk as they were counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from liftseries.report.comparison.compared import ALL, CRUDE, Comparison
from liftseries.report.kit.figures.style import (
    DOUBLE_MM,
    LOOKS,
    SINGLE_MM,
    Drawing,
    drawn,
    new_figure,
    text_width_mm,
)
from liftseries.report.kit.numbers import percent
from liftseries.report.kit.words import BANDS, Words
from liftseries.report.languages.say import say
from liftseries.report.survival.curves import AXIS_MM, ROW_MM, TITLE_MM, name_curves, numbers_below, panel, starts_at

BODY_MM, NARROW_BODY_MM, EDGE_MM, AXIS_LABEL_MM = 46.0, 44.0, 2.0, 16.0
LOOK = (*LOOKS[:2], LOOKS[3], LOOKS[4], LOOKS[2])  # the palest last: a thin pale line is lost in grey


@drawn
def draw_survival(
    curves: pd.DataFrame,
    at_risk: pd.DataFrame,
    survival: pd.DataFrame,
    entangled: pd.DataFrame,
    comparison: Mapping[str, Any],
    survival_months: Sequence[float],
    words: Words | None = None,
    narrow: bool = False,
) -> Drawing | None:
    """A curve a group that can be told apart from the reference; None without a failure or with one such group. Five
    groups at most, the first ones.

    Parameters
    ----------
    curves : `subset, method, group, months, survival`
    at_risk : `subset, group, months, n_at_risk, …`, unweighted
    survival : rows of `comparison.survival`
    entangled : `group, operator, surgery_year, n_sites`
    comparison : plan.comparison
    survival_months : of the plan
    words : names of the study's own columns
    narrow : a layout of one column
    """
    of_all = curves[curves["subset"].eq(ALL)].astype({"group": str}) if len(curves) else curves
    counted = at_risk[at_risk["subset"].eq(ALL)].astype({"group": str}) if len(at_risk) else at_risk
    if of_all.empty or counted.empty or not counted["n_failed"].max():
        return None
    weights = comparison["weights"][0]
    method = weights if of_all["method"].eq(weights).any() else CRUDE
    of_all = of_all[of_all["method"].eq(method)].sort_values("months", kind="stable")
    words = words or Words()
    found = Comparison(survival, entangled, comparison, survival_months, words)
    groups = [level for level in dict.fromkeys(counted["group"]) if of_all["group"].eq(level).sum() > 1]
    groups = [level for level in groups if level == found.reference or not found.apart(level)][: len(LOOK)]
    if len(groups) < 2 or found.reference not in groups:
        return None
    counted = counted[counted["group"].isin(groups)]
    unit = " mm" if comparison["groups"] in BANDS else ""
    names = {level: level.replace("_", " ") + unit for level in groups}
    column = words.column(comparison["groups"])
    title = say(f"comparison.title_survival_{_kind(method)}", column=column[0].lower() + column[1:])
    figure = _figure(of_all, counted, groups, names, title, narrow)
    told = [
        say(
            "comparison.alt_curve",
            group=names[level],
            share=percent(own["survival"].iloc[-1]),
            month=own["months"].max(),
        )
        for level in groups
        for own in [of_all[of_all["group"].eq(level)]]
    ]
    start = counted[counted["months"].eq(0)]
    n_failed = counted.groupby("group")["n_failed"].max().sum()
    covers = say("comparison.covers_survival", implants=int(start["n_at_risk"].sum()), failures=int(n_failed))
    return Drawing(figure, say(f"comparison.alt_survival_{_kind(method)}", told=told), covers)


def _kind(method: str) -> str:
    return "crude" if method == CRUDE else "weighted"


def _figure(of_all: pd.DataFrame, counted: pd.DataFrame, groups, names: Mapping[str, str], title: str, narrow: bool):
    named = max(text_width_mm(name) for name in names.values())
    left, right = max(named, AXIS_LABEL_MM) + EDGE_MM + 4, named + 8
    below = AXIS_MM + ROW_MM * (len(groups) + 1)
    width, body = (SINGLE_MM, NARROW_BODY_MM) if narrow else (DOUBLE_MM, BODY_MM)
    figure = new_figure(width, below + body + TITLE_MM)
    ends = float(of_all["months"].max()), starts_at([float(of_all["survival"].min())])
    place = (left, below, width - left - right, body)
    axes = panel(figure, place, ends, title)
    drawn_curves = []
    for k, level in enumerate(groups):
        curve = of_all[of_all["group"].eq(level)]
        axes.step(curve["months"], curve["survival"], where="post", color=LOOK[k].colour, linestyle=LOOK[k].line)
        drawn_curves.append((curve, names[level]))
    name_curves(axes, drawn_curves, body)
    rows = {}
    for level in groups:
        own = counted[counted["group"].eq(level) & counted["months"].le(ends[0])]
        rows[names[level]] = own.drop_duplicates("months").set_index("months")["n_at_risk"]
    numbers_below(figure, axes, EDGE_MM, rows)
    return figure
