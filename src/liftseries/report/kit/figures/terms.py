"""The terms of a model as a forest: odds and hazard ratios on a logarithmic axis, differences in mm."""

from __future__ import annotations

import pandas as pd

from liftseries.models.shared.design import INTERCEPT
from liftseries.report.kit.figures.forest import Axis, Line, draw_forest
from liftseries.report.kit.figures.style import DOUBLE_MM, Drawing, nothing_drawn
from liftseries.report.kit.numbers import WITHHELD, decimal, exponent, interval, listed, missing, p_value
from liftseries.report.kit.numbers import ratio as as_ratio
from liftseries.report.kit.words import Words

NOT_ESTIMATED = "not estimated †"


def draw_terms(
    rows: pd.DataFrame,
    words: Words | None,
    axis_label: str,
    towards: tuple[str, str],
    ratio: bool,
    lead: str = "",
) -> Drawing:
    """A line a term, the intercept left out.

    Parameters
    ----------
    rows : rows of one model, subset `all`
    words : names of the study's own columns
    axis_label : what the axis counts
    towards : words for smaller and larger
    ratio : whether estimates are logarithms to be shown as ratios
    lead : what the alternative text opens with
    """
    words = words or Words()
    terms = rows[~rows["term"].eq(INTERCEPT)] if len(rows) else rows
    problems = list(dict.fromkeys(terms["problem"].dropna())) if len(terms) else []
    if terms.empty or terms["estimate"].isna().all():
        return nothing_drawn(
            listed([problem for problem in problems if problem]) or "the model was not fitted", DOUBLE_MM
        )
    lines, told = [], []
    for _, row in terms.iterrows():
        label = words.term(row["term"], str(row["note"]))
        if missing(row["estimate"]):
            withheld = row["problem"] == WITHHELD
            lines.append(Line(label, (WITHHELD if withheld else NOT_ESTIMATED, "")))
            told.append(f"{label}: {WITHHELD if withheld else 'not estimated, ' + str(row['problem'])}")
            continue
        estimate, low, high = (float(row[name]) for name in ("estimate", "conf_low", "conf_high"))
        if ratio:
            estimate, low, high = (exponent(value) for value in (estimate, low, high))
        numbers = interval(estimate, low, high, as_ratio if ratio else decimal)
        lines.append(Line(label, (numbers, p_value(row["p_value"])), estimate, low, high))
        told.append(f"{label}: {numbers}")
    note = ""
    if any(line.columns[0] == NOT_ESTIMATED for line in lines):
        note = "† The table of this model says why."
    return draw_forest(
        lines,
        (f"{'Ratio' if ratio else 'mm'} (95% interval)", "p"),
        Axis(axis_label, none=1.0 if ratio else 0.0, ratio=ratio, towards=towards),
        f"{axis_label} by term. {lead}{'; '.join(told)}.",
        note,
    )
