"""The hazard model, drawn: its ratios, and whether they stay the same over time."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from liftseries.report.kit.figures.forest import Axis
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    MID,
    MOST_MARKS,
    SINGLE_MM,
    SMALL_PT,
    Drawing,
    axes_at,
    drawn,
    new_figure,
    wrapped,
)
from liftseries.report.kit.figures.terms import draw_by_method
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say
from liftseries.report.survival.other_methods import method_name


@drawn
def draw_proportional_hazards(
    residuals: pd.DataFrame, test: pd.DataFrame, words: Words | None = None, narrow: bool = False
) -> Drawing | None:
    """Scaled Schoenfeld residuals against time, a panel a coefficient; only where the test over time is quoted.

    Parameters
    ----------
    residuals : `term, months, residual, smooth, coefficient`
        On the log hazard; `smooth` a smooth line through them, `coefficient` the model's.
    test : rows of `survival.ph`, whose headlines are quoted from 20 failures on
    words : names of the study's own columns
    narrow : a layout of one column
    """
    words = words or Words()
    terms = list(dict.fromkeys(residuals["term"])) if len(residuals) else []
    quoted = quoted_in(test)
    if not terms or residuals["smooth"].isna().all() or quoted.empty:
        return None
    columns = 1 if narrow else 3 if len(terms) in (3, 5, 6) else min(2, len(terms))
    rows, width_mm = math.ceil(len(terms) / columns), SINGLE_MM if narrow else DOUBLE_MM
    panel_mm, body_mm, gap_mm = (width_mm - 14 - 18 * (columns - 1)) / columns - 2, 34.0, 22.0
    figure = new_figure(width_mm, 12 + rows * (body_mm + gap_mm) - 12)
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
            rasterized=len(part) > MOST_MARKS,
        )
        axes.plot(part["months"], part["smooth"], color=DARK, linewidth=1.4)
        axes.axhline(float(part["coefficient"].iloc[0]), color=INK, linewidth=0.8, linestyle=(0, (5, 2)))
        axes.set_xlabel("Months since placement")
        axes.set_ylabel("Scaled Schoenfeld residual")
        name = words.term(term)
        axes.set_title(wrapped(name, panel_mm), loc="left", size=SMALL_PT)
        told.append(say("survival.alt_term", term=name, failures=len(part)))
    return Drawing(figure, say("survival.alt_hazards", terms="; ".join(told)), _covers(quoted.iloc[0]))


@drawn
def draw_hazard_methods(
    firth_cox: pd.DataFrame,
    cox: pd.DataFrame,
    imputed: pd.DataFrame,
    words: Words | None = None,
    narrow: bool = False,
) -> Drawing | None:
    """Hazard ratios of implant failure: of each term the quoted one, filled, and the same by other methods, open.

    Parameters
    ----------
    firth_cox, cox, imputed : rows of `survival.firth_cox`, `.cox` and `.imputed`
    words : names of the study's own columns
    narrow : a layout of one column
    """
    rows = pd.concat([table for table in (firth_cox, cox, imputed) if len(table)] or [firth_cox])
    quoted = quoted_in(rows)
    drawing = draw_by_method(
        rows,
        words or Words(),
        method_name,
        Axis("Hazard ratio of implant failure", none=1.0, ratio=True, towards=("fewer failures", "more failures")),
        "hazard ratio of implant failure",
        narrow,
    )
    return replace(drawing, covers=_covers(quoted.iloc[0])) if drawing else None


def _covers(row) -> str:
    return say("survival.covers", implants=row["n_sites"], patients=row["n_patients"], failures=row["n_events"])
