"""The terms of a model as a forest: odds and hazard ratios on a logarithmic axis, differences in mm."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from liftseries.models.shared.design import INTERCEPT
from liftseries.report.kit.figures.forest import Axis, Line, draw_forest
from liftseries.report.kit.figures.style import DOUBLE_MM, Drawing, nothing_drawn
from liftseries.report.kit.numbers import WITHHELD, decimal, exponent, interval, listed, missing, p_value
from liftseries.report.kit.numbers import ratio as as_ratio
from liftseries.report.kit.quoted import beside, quoted_in
from liftseries.report.kit.words import Words

NOT_ESTIMATED = "not estimated †"
QUOTED_IS_FILLED = "Filled: the row that the report quotes. Open: the same question by other methods."


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


def draw_by_method(
    rows: pd.DataFrame, words: Words, method_name: Callable[[pd.Series], str], axis: Axis, what: str
) -> Drawing:
    """Ratios by term: of each term the quoted one, filled, and the same by other methods, open; no intercept.

    Parameters
    ----------
    rows : of several models of the same terms, logarithms
    words : names of the study's own columns
    method_name : how a row was made, in a few words
    axis : logarithmic
    what : `odds ratio of a perforation`
    """
    quoted = quoted_in(rows)
    quoted = quoted[~quoted["term"].eq(INTERCEPT)] if len(quoted) else quoted
    if quoted.empty:
        return nothing_drawn(f"no {what} is quoted", DOUBLE_MM)
    lines, told = [], []
    for _, one in quoted.iterrows():
        heading = words.term(one["term"], str(one["note"]))
        lines.append(Line(heading, heading=True))
        for _, row in beside(rows, one).iterrows():
            label = f"   {method_name(row)}"
            if missing(row["estimate"]):  # the table says why
                lines += [Line(label, (WITHHELD, ""))] if row["problem"] == WITHHELD else []
                continue
            estimate, low, high = (exponent(float(row[name])) for name in ("estimate", "conf_low", "conf_high"))
            numbers = interval(estimate, low, high, as_ratio)
            lines.append(Line(label, (numbers, p_value(row["p_value"])), estimate, low, high, not row["headline"]))
        ratio = (exponent(float(one[name])) for name in ("estimate", "conf_low", "conf_high"))
        told.append(f"{heading}: {interval(*ratio, as_ratio)}")
    return draw_forest(
        lines,
        ("Ratio (95% interval)", "p"),
        axis,
        f"{what[0].upper() + what[1:]} by term and method. Quoted: {'; '.join(told)}.",
        QUOTED_IS_FILLED,
    )
