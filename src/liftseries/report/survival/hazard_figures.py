"""The hazard model, drawn: its ratios, and whether they stay the same over time."""

from __future__ import annotations

import math

import pandas as pd

from liftseries.report.kit.figures.forest import Axis
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    MID,
    SMALL_PT,
    Drawing,
    axes_at,
    drawn,
    new_figure,
    wrapped,
)
from liftseries.report.kit.figures.terms import draw_by_method
from liftseries.report.kit.numbers import counted, p_value
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.kit.words import Words
from liftseries.report.survival.other_methods import method_name


@drawn
def draw_proportional_hazards(
    residuals: pd.DataFrame, test: pd.DataFrame, words: Words | None = None
) -> Drawing | None:
    """Scaled Schoenfeld residuals against time, a panel a coefficient.

    Parameters
    ----------
    residuals : `term, months, residual, smooth, coefficient`
        On the log hazard; `smooth` a smooth line through them, `coefficient` the model's.
    test : rows of `survival.ph`, for the p-values
    words : names of the study's own columns
    """
    words = words or Words()
    terms = list(dict.fromkeys(residuals["term"])) if len(residuals) else []
    if not terms or residuals["smooth"].isna().all():
        return None
    columns = min(2, len(terms))
    rows = math.ceil(len(terms) / columns)
    panel_mm, body_mm, gap_mm = (DOUBLE_MM - 14 - 18 * (columns - 1)) / columns - 2, 34.0, 22.0
    figure = new_figure(DOUBLE_MM, 12 + rows * (body_mm + gap_mm) - 12)
    told = []
    for k, term in enumerate(terms):
        part = residuals[residuals["term"].eq(term)].sort_values("months")
        left = 14 + (k % columns) * (panel_mm + 18)
        bottom = 12 + (rows - 1 - k // columns) * (body_mm + gap_mm)
        axes = axes_at(figure, left, bottom, panel_mm, body_mm)
        axes.plot(
            part["months"],
            part["residual"],
            linestyle="",
            marker="o",
            markersize=2.6,
            color=MID,
            markerfacecolor="white",
        )
        axes.plot(part["months"], part["smooth"], color=DARK, linewidth=1.4)
        axes.axhline(float(part["coefficient"].iloc[0]), color=INK, linewidth=0.8, linestyle=(0, (5, 2)))
        axes.set_xlabel("Months since placement")
        axes.set_ylabel("Log hazard ratio")
        name = words.term(term)
        axes.set_title(wrapped(name, panel_mm), loc="left", size=SMALL_PT)
        told.append(f"{name}, {counted(len(part), 'failure')}")
    found = quoted_in(test)
    found = found[found["term"].eq("GLOBAL")] if len(found) else found
    p = f" Test of all terms together: p {p_value(found['p_value'].iloc[-1])}." if len(found) else ""
    return Drawing(figure, f"Scaled residuals of the hazard model against time: {'; '.join(told)}.{p}")


@drawn
def draw_hazard_methods(
    firth_cox: pd.DataFrame, cox: pd.DataFrame, imputed: pd.DataFrame, words: Words | None = None
) -> Drawing | None:
    """Hazard ratios of implant failure: of each term the quoted one, filled, and the same by other methods, open.

    Parameters
    ----------
    firth_cox, cox, imputed : rows of `survival.firth_cox`, `.cox` and `.imputed`
    words : names of the study's own columns
    """
    rows = pd.concat([table for table in (firth_cox, cox, imputed) if len(table)] or [firth_cox])
    return draw_by_method(
        rows,
        words or Words(),
        method_name,
        Axis("Hazard ratio of implant failure", none=1.0, ratio=True, towards=("fewer failures", "more failures")),
        "hazard ratio of implant failure",
    )
