"""The terms of a model as a forest: odds and hazard ratios on a logarithmic axis, differences in mm."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from liftseries.models.shared.design import INTERCEPT
from liftseries.report.kit.figures.forest import Axis, Line, draw_forest
from liftseries.report.kit.figures.style import Drawing
from liftseries.report.kit.numbers import WITHHELD, decimal, exponent, interval, missing, p_value
from liftseries.report.kit.numbers import ratio as as_ratio
from liftseries.report.kit.quoted import beside, quoted_in
from liftseries.report.kit.words import Words

QUOTED_IS_FILLED = "Filled: the row that the report quotes. Open: the same question by other methods."


def draw_by_method(
    rows: pd.DataFrame,
    words: Words,
    method_name: Callable[[pd.Series], str],
    axis: Axis,
    what: str,
    narrow: bool = False,
) -> Drawing | None:
    """Effects by term: of each term the quoted one, filled, and the same by other methods, open; no intercept.

    Parameters
    ----------
    rows : of several models of the same terms; logarithms where the axis is one of ratios
    words : names of the study's own columns
    method_name : how a row was made, in a few words
    axis
    what : `odds ratio of a perforation`
    narrow : a layout of one column
    """
    quoted = quoted_in(rows)
    quoted = quoted[~quoted["term"].eq(INTERCEPT)] if len(quoted) else quoted
    if quoted.empty:
        return None
    shown, written = (exponent, as_ratio) if axis.ratio else (float, decimal)
    lines, told = [], []
    for _, one in quoted.iterrows():
        heading = words.term(one["term"], str(one["note"]))
        lines.append(Line(heading, heading=True))
        for _, row in beside(rows, one).iterrows():
            label = f"   {method_name(row)}"
            if missing(row["estimate"]):  # the table says why
                lines += [Line(label, (WITHHELD, ""))] if row["problem"] == WITHHELD else []
                continue
            estimate, low, high = (shown(float(row[name])) for name in ("estimate", "conf_low", "conf_high"))
            numbers = interval(estimate, low, high, written)
            lines.append(Line(label, (numbers, p_value(row["p_value"])), estimate, low, high, not row["headline"]))
        effect = (shown(float(one[name])) for name in ("estimate", "conf_low", "conf_high"))
        told.append(f"{heading}: {interval(*effect, written)}")
    return draw_forest(
        lines,
        ("Ratio (95% interval)" if axis.ratio else "Difference (95% interval)", "p"),
        axis,
        f"{what[0].upper() + what[1:]} by term and method. Quoted: {'; '.join(told)}.",
        QUOTED_IS_FILLED,
        narrow,
    )
