"""Perforations by the operator's case number, drawn."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FuncFormatter, MaxNLocator

from liftseries.report.kit.figures.style import (
    DARK,
    INK,
    LIGHT,
    SINGLE_MM,
    Drawing,
    axes_at,
    drawn,
    new_figure,
)
from liftseries.report.kit.numbers import count, missing, share_of
from liftseries.report.languages.say import say
from liftseries.report.perforation.recorded_tables import bands_may_be_compared, case_band

MOST_CASES = 400  # of an operator, on an axis of case numbers
CASE_NUMBER = "Operator's case number"


@drawn
def draw_learning(rates: pd.DataFrame, cases: pd.DataFrame) -> Drawing | None:
    """Share perforated by bands of the operator's case number, and, up to MOST_CASES of them, a rug of the numbers.

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
    bands = rates[rates["estimate"].notna()]
    last = float(np.nanmax(case[known]))
    # Where cases go on for hundreds, the first bands would be a line and the rug a surface: bands stand side by side.
    alike = last > MOST_CASES
    names = [case_band(row) for _, row in bands.iterrows()]
    limits = [(k + 0.55, k + 1.45) if alike else _limits(name, last) for k, name in enumerate(names)]
    figure = new_figure(SINGLE_MM, 66.0)
    axes = axes_at(figure, 17.0, 11.0 if alike else 24.0, SINGLE_MM - 20.0, 50.0 if alike else 37.0)
    told, top = [], 0.0
    for (left, right), (_, row) in zip(limits, bands.iterrows(), strict=True):
        if not missing(row["conf_low"]):
            axes.fill_between([left, right], row["conf_low"], row["conf_high"], color=LIGHT, alpha=0.55, linewidth=0)
            top = max(top, row["conf_high"])
        axes.plot([left, right], [row["estimate"]] * 2, color=DARK, linewidth=1.6, solid_capstyle="butt")
        top = max(top, row["estimate"])
        words = f"{count(row['n_events'])}/{count(row['n_sites'])}"
        axes.text((left + right) / 2, row["estimate"], words, ha="center", va="bottom")
        told.append(f"{case_band(row).replace('>', 'above ')}: {share_of(row['n_events'], row['n_sites'])}")
    axes.set(xlim=(0.5, (len(bands) if alike else last) + 0.5), ylim=(0, min(1.0, 1.15 * top)))
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.set_ylabel("Sites perforated, %")
    axes.grid(axis="y")
    if alike:
        axes.set_xticks(range(1, len(bands) + 1), names)
        axes.set_xlabel(CASE_NUMBER)
    else:
        _rug(figure, axes, np.unique(case[torn]), np.unique(case[known & ~torn]))
    covers = say(
        "perforation.covers",
        n_sites=int(known.sum()),
        n_patients=cases.loc[known, "patient_id"].nunique(),
        n_events=int(torn.sum()),
    )
    return Drawing(figure, say("perforation.alt_learning", told="; ".join(told)), covers)


def _rug(figure, axes, torn: np.ndarray, others: np.ndarray) -> None:
    """The case numbers below the axes: operators share them, so that each is drawn once."""
    axes.tick_params(labelbottom=False)
    rug = axes_at(figure, 17.0, 11.0, SINGLE_MM - 20.0, 10.0, sharex=axes)
    rug.vlines(torn, 1.1, 2.0, color=INK, linewidth=0.7)
    rug.vlines(others, 0.0, 0.9, color=LIGHT, linewidth=0.5)
    rug.set(ylim=(0, 2.1), yticks=[0.45, 1.55], yticklabels=["not", "perforated"])
    rug.tick_params(axis="y", length=0)
    rug.set_xlabel(CASE_NUMBER)


def _limits(band: str, last: float) -> tuple[float, float]:
    """Where a band lies: `1 to 10` from 0.5 to 10.5, `>40` up to the last case."""
    if band.startswith(">"):
        return float(band[1:]) + 0.5, last + 0.5
    low, _, high = band.partition(" to ")
    return float(low) - 0.5, min(float(high), last) + 0.5
