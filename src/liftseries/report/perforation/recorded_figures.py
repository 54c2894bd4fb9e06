"""Tears as recorded, drawn: by stage and size, and by the operator's case number."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FuncFormatter, MaxNLocator

from liftseries.report.kit.figures.style import (
    DARK,
    INK,
    LIGHT,
    MID,
    SINGLE_MM,
    Drawing,
    axes_at,
    drawn,
    name_beside,
    new_figure,
)
from liftseries.report.kit.numbers import count, counted, decimal, missing, share_of
from liftseries.report.perforation.recorded_tables import STAGES, case_band, may_be_compared

ROW_MM, LEFT_MM, RIGHT_MM, BOTTOM_MM = 9.0, 24.0, 21.0, 11.0
FEWEST_FOR_MEDIAN = 5
NAMES = {stage: stage for stage in STAGES} | {"unknown": "not recorded"}


@drawn
def draw_tear_stages(cases: pd.DataFrame) -> Drawing | None:
    """Tears by stage, each a mark at its largest diameter; how many were measured stands beside.

    Parameters
    ----------
    cases : one row a site; `perforation, perforation_stage, perforation_mm`
    """
    torn = cases[cases["perforation"].astype(object).eq("yes").to_numpy(bool)]
    stage = torn.get("perforation_stage", pd.Series(index=torn.index, dtype=object)).astype(object)
    if not stage.isin([name for name in STAGES if name != "unknown"]).any():
        return None
    stage = stage.where(stage.isin(list(STAGES)), "unknown")
    size_mm = pd.to_numeric(torn.get("perforation_mm", pd.Series(np.nan, index=torn.index)), errors="coerce")
    shown = [name for name in STAGES if stage.eq(name).any()]
    figure = new_figure(SINGLE_MM, BOTTOM_MM + ROW_MM * len(shown) + 3)
    axes = axes_at(figure, LEFT_MM, BOTTOM_MM, SINGLE_MM - LEFT_MM - RIGHT_MM, ROW_MM * len(shown))
    told = []
    for k, name in enumerate(shown):
        y, values = len(shown) - 1 - k, size_mm[stage.eq(name)].dropna().to_numpy(float)
        n = int(stage.eq(name).sum())
        axes.scatter(values, y + _stacked(values), s=9, facecolor=LIGHT, edgecolor=DARK, linewidth=0.6, zorder=2)
        median = float(np.median(values)) if len(values) >= FEWEST_FOR_MEDIAN else None
        if median is not None:
            axes.plot([median, median], [y - 0.36, y + 0.36], color=MID, linewidth=1.6, zorder=3)
        name_beside(axes, y, f"{counted(n, 'tear')},\n{len(values)} measured")
        middle = f", median {decimal(median, 1)} mm" if median is not None else ""
        told.append(f"{NAMES[name]}: {counted(n, 'tear')}, {len(values)} measured{middle}")
    axes.set_yticks(range(len(shown)), [NAMES[name] for name in reversed(shown)])
    axes.set_ylim(-0.6, len(shown) - 0.4)
    axes.set_xlim(0, 1.05 * (size_mm.max() if size_mm.notna().any() else 1.0))
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x")
    axes.set_xlabel("Largest diameter of the tear, mm")
    return Drawing(figure, f"Tears by the stage at which they were noticed. {'; '.join(told)}.")


def _stacked(values: np.ndarray) -> np.ndarray:
    """How far marks of the same value are set apart, about 0; shape (n,)."""
    table = pd.DataFrame({"value": np.round(values, 1)})
    place = table.groupby("value").cumcount().to_numpy(float)
    of_value = table.groupby("value")["value"].transform("size").to_numpy(float)
    return 0.16 * (place - (of_value - 1) / 2) * np.minimum(1.0, 4.0 / of_value)


@drawn
def draw_learning(rates: pd.DataFrame, cases: pd.DataFrame) -> Drawing | None:
    """Share torn by bands of the operator's case number, and a rug of the case numbers.

    Parameters
    ----------
    rates : rows of `perforation.learning`
    cases : one row a site; `operator_case_no, perforation`
    """
    if not may_be_compared(rates) or "operator_case_no" not in cases:
        return None
    case = pd.to_numeric(cases["operator_case_no"], errors="coerce").to_numpy(float, na_value=np.nan)
    torn = cases["perforation"].astype(object).eq("yes").to_numpy(bool)
    known = torn | cases["perforation"].astype(object).eq("no").to_numpy(bool)
    last = float(np.nanmax(case[known]))
    figure = new_figure(SINGLE_MM, 66.0)
    axes = axes_at(figure, 13.0, 24.0, SINGLE_MM - 16.0, 37.0)
    rug = axes_at(figure, 13.0, 11.0, SINGLE_MM - 16.0, 10.0, sharex=axes)
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
        told.append(f"case {case_band(row).replace('>', 'above ')}: {share_of(row['n_events'], row['n_sites'])}")
    axes.set(xlim=(0.5, last + 0.5), ylim=(0, min(1.0, 1.15 * top)))
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.set_ylabel("Sites torn, %")
    axes.grid(axis="y")
    axes.tick_params(labelbottom=False)
    rug.vlines(case[torn], 1.1, 2.0, color=INK, linewidth=0.7)
    rug.vlines(case[known & ~torn], 0.0, 0.9, color=LIGHT, linewidth=0.5)
    rug.set(ylim=(0, 2.1), yticks=[0.45, 1.55], yticklabels=["not torn", "torn"])
    rug.tick_params(axis="y", length=0)
    rug.set_xlabel("Operator's case number")
    return Drawing(figure, f"Share of sites torn by the operator's case number. {'; '.join(told)}.")


def _limits(band: str, last: float) -> tuple[float, float]:
    """Where a band lies: `1 to 10` from 0.5 to 10.5, `>40` up to the last case."""
    if band.startswith(">"):
        return float(band[1:]) + 0.5, last + 0.5
    low, _, high = band.partition(" to ")
    return float(low) - 0.5, min(float(high), last) + 0.5
