"""Perforations by the operator's case number, drawn."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FuncFormatter, MaxNLocator

from liftseries.report.kit.figures.style import (
    DARK,
    INK,
    LIGHT,
    MOST_MARKS,
    SINGLE_MM,
    Drawing,
    axes_at,
    drawn,
    new_figure,
)
from liftseries.report.kit.numbers import count, missing, share_of
from liftseries.report.languages.say import say
from liftseries.report.perforation.recorded_tables import bands_may_be_compared, case_band


@drawn
def draw_learning(rates: pd.DataFrame, cases: pd.DataFrame) -> Drawing | None:
    """Share perforated by bands of the operator's case number, and a rug of the case numbers.

    Parameters
    ----------
    rates : rows of `perforation.learning`
    cases : one row a site; `operator_case_no, perforation, patient_id`
    """
    if not bands_may_be_compared(rates) or "operator_case_no" not in cases:
        return None
    case = pd.to_numeric(cases["operator_case_no"], errors="coerce").to_numpy(float, na_value=np.nan)
    torn = cases["perforation"].astype(object).eq("yes").to_numpy(bool)
    known = torn | cases["perforation"].astype(object).eq("no").to_numpy(bool)
    last = float(np.nanmax(case[known]))
    figure = new_figure(SINGLE_MM, 66.0)
    axes = axes_at(figure, 17.0, 24.0, SINGLE_MM - 20.0, 37.0)
    rug = axes_at(figure, 17.0, 11.0, SINGLE_MM - 20.0, 10.0, sharex=axes)
    told, top = [], 0.0
    for _, row in rates[rates["estimate"].notna()].iterrows():
        left, right = _limits(case_band(row), last)
        if not missing(row["conf_low"]):
            axes.fill_between([left, right], row["conf_low"], row["conf_high"], color=LIGHT, alpha=0.55, linewidth=0)
            top = max(top, row["conf_high"])
        axes.plot([left, right], [row["estimate"]] * 2, color=DARK, linewidth=1.6, solid_capstyle="butt")
        top = max(top, row["estimate"])
        words = f"{count(row['n_events'])}/{count(row['n_sites'])}"
        axes.text((left + right) / 2, row["estimate"], words, ha="center", va="bottom")
        told.append(f"{case_band(row).replace('>', 'above ')}: {share_of(row['n_events'], row['n_sites'])}")
    axes.set(xlim=(0.5, last + 0.5), ylim=(0, min(1.0, 1.15 * top)))
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.set_ylabel("Sites perforated, %")
    axes.grid(axis="y")
    axes.tick_params(labelbottom=False)
    # Operators share case numbers: each is drawn once, or the file grows with the series.
    for at, low, high, look in (
        (np.unique(case[torn]), 1.1, 2.0, {"color": INK, "linewidth": 0.7}),
        (np.unique(case[known & ~torn]), 0.0, 0.9, {"color": LIGHT, "linewidth": 0.5}),
    ):
        rug.vlines(at, low, high, rasterized=len(at) > MOST_MARKS, **look)
    rug.set(ylim=(0, 2.1), yticks=[0.45, 1.55], yticklabels=["not", "perforated"])
    rug.tick_params(axis="y", length=0)
    rug.set_xlabel("Operator's case number")
    covers = say(
        "perforation.covers",
        n_sites=int(known.sum()),
        n_patients=cases.loc[known, "patient_id"].nunique(),
        n_events=int(torn.sum()),
    )
    return Drawing(figure, say("perforation.alt_learning", told="; ".join(told)), covers)


def _limits(band: str, last: float) -> tuple[float, float]:
    """Where a band lies: `1 to 10` from 0.5 to 10.5, `>40` up to the last case."""
    if band.startswith(">"):
        return float(band[1:]) + 0.5, last + 0.5
    low, _, high = band.partition(" to ")
    return float(low) - 0.5, min(float(high), last) + 0.5
