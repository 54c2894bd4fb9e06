"""Who is in the study, drawn: the flow of patients and sites, and how much bone there was."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.patches import FancyArrowPatch, Rectangle
from matplotlib.ticker import MaxNLocator

from liftseries.report.kit.figures.style import (
    DOUBLE_MM,
    INK,
    LOOKS,
    SINGLE_MM,
    SMALL_PT,
    Drawing,
    Look,
    axes_at,
    drawn,
    new_figure,
    wrapped,
)
from liftseries.report.kit.numbers import counted, listed, missing, people

READ, SET_ASIDE, IN_SERIES = "read", "set aside", "in the series"
BIN_MM = 0.5
LINE_MM = 3.5
MOST_REASONS = 6


def refusals(set_aside: pd.DataFrame) -> list[str]:
    """Why rows were set aside, the commonest first: `sites, rbh_min_mm: out of range (3 rows)`."""
    if set_aside.empty:
        return []
    rows = set_aside.drop_duplicates(["table", "file", "row", "column", "rule"])
    reasons = rows.fillna({"column": ""}).groupby(["table", "column", "rule"]).size()
    reasons = reasons.sort_values(ascending=False, kind="stable")
    return [
        f"{table}{', ' + column if column else ''}: {rule.replace('_', ' ')} ({counted(n, 'row')})"
        for (table, column, rule), n in reasons.items()
    ]


@drawn
def draw_flow(flow: pd.DataFrame, set_aside: pd.DataFrame) -> Drawing | None:
    """Boxes from what was read to what each analysis could use.

    Parameters
    ----------
    flow : `stage, n_patients, n_sites`; stages `read`, `set aside`, `in the series`, then what the series has
        Stages that are analyses (`perforation.gee`) stand in the report's table, not here.
    set_aside : set_aside.csv, for the reasons; without rows only numbers are given
    """
    stages = {str(row["stage"]): row for _, row in flow.iterrows()} if len(flow) else {}
    if IN_SERIES not in stages:
        return None
    reasons = refusals(set_aside)
    if len(reasons) > MOST_REASONS:
        reasons = [*reasons[:MOST_REASONS], f"and {len(reasons) - MOST_REASONS} more reasons"]
    aside = people(stages[SET_ASIDE]) if SET_ASIDE in stages else ""
    aside_lines = [f"Set aside: {aside}", *reasons] if aside else []
    branches = {
        stage: row
        for stage, row in stages.items()
        if stage not in (READ, SET_ASIDE, IN_SERIES) and "." not in stage and not missing(row["n_sites"])
    }

    aside_mm = 60.0
    aside_text = "\n".join(wrapped(line, aside_mm - 6) for line in aside_lines)
    n_lines = aside_text.count("\n") + 1 if aside_text else 0
    aside_height = n_lines * LINE_MM + 4
    box = 11.0
    gap = max(9.0, aside_height - box + 6 if aside_text else 9.0)
    height = 2 * box + gap + (21 if branches else 0) + 4
    figure = new_figure(DOUBLE_MM, height)
    axes = axes_at(figure, 0, 0, DOUBLE_MM, height)
    axes.set(xlim=(0, DOUBLE_MM), ylim=(0, height))
    axes.set_axis_off()

    centre = DOUBLE_MM / 2 - (0 if not aside_text else 17)
    top = height - 2
    if READ in stages:
        _box(axes, centre - 32, top - box, 64, box, f"Read\n{people(stages[READ])}")
        _arrow(axes, (centre, top - box), (centre, top - box - gap))
    if aside_text:
        middle = top - box - gap / 2
        left = centre + 32 + 8
        _box(axes, left, middle - aside_height / 2, aside_mm, aside_height, aside_text, left=True)
        _arrow(axes, (centre, middle), (left, middle))
    low = top - 2 * box - gap
    _box(axes, centre - 32, low, 64, box, f"In the series\n{people(stages[IN_SERIES])}", bold=True)
    if branches:
        width = (DOUBLE_MM - 4 - 3 * (len(branches) - 1)) / len(branches)
        rail = low - 4
        axes.plot([centre, centre], [low, rail], color=INK, linewidth=0.7)
        middles = [2 + width / 2 + k * (width + 3) for k in range(len(branches))]
        axes.plot([min(*middles, centre), max(*middles, centre)], [rail, rail], color=INK, linewidth=0.7)
        for middle, (stage, row) in zip(middles, branches.items(), strict=True):
            _arrow(axes, (middle, rail), (middle, rail - 4))
            text = wrapped(stage.capitalize(), width - 3) + "\n" + wrapped(people(row), width - 3)
            _box(axes, middle - width / 2, rail - 4 - 12, width, 12, text)

    return Drawing(figure, _flow_told(stages, aside, branches))


def _flow_told(stages: dict, aside: str, branches: dict) -> str:
    """The boxes in words."""
    told = [f"{people(stages[READ])} read"] if READ in stages else []
    told += [f"{aside} set aside"] if aside else []
    told += [f"{people(stages[IN_SERIES])} in the series"]
    told += [f"{people(row)} {stage}" for stage, row in branches.items()]
    return f"Flow diagram: {'; '.join(told)}."


def _box(axes, x: float, y: float, width: float, height: float, text: str, left: bool = False, bold: bool = False):
    axes.add_patch(Rectangle((x, y), width, height, facecolor="white", edgecolor=INK, linewidth=1.1 if bold else 0.6))
    place = (x + 3, "left") if left else (x + width / 2, "center")
    axes.text(place[0], y + height / 2, text, ha=place[1], va="center", size=SMALL_PT, linespacing=1.35)


def _arrow(axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    axes.add_patch(
        FancyArrowPatch(start, end, arrowstyle="-|>", mutation_scale=6, color=INK, linewidth=0.7, shrinkA=0, shrinkB=0)
    )


@drawn
def draw_residual_height(cases: pd.DataFrame, rbh_bands_mm: Sequence[float] = ()) -> Drawing | None:
    """How many sites had how much bone, by approach, with the cuts of the plan's bands.

    Parameters
    ----------
    cases : one row a site; `rbh_mid_mm, approach` and, for the counts in words, `rbh_band`
    rbh_bands_mm : the cuts, mm
    """
    height_mm = pd.to_numeric(cases.get("rbh_mid_mm", pd.Series(dtype=float)), errors="coerce")
    known = height_mm.notna().to_numpy(bool)
    if not known.any():
        return None
    approach = cases.loc[known, "approach"].astype(str).to_numpy()
    values = height_mm[known].to_numpy(float)
    levels = [level for level in ("guided", "freehand") if (approach == level).any()]
    levels += sorted(set(approach) - set(levels))
    edges = np.arange(np.floor(values.min() / BIN_MM), np.floor(values.max() / BIN_MM) + 2) * BIN_MM
    panel_mm, left, bottom = 27.0, 13.0, 11.0
    figure = new_figure(SINGLE_MM, bottom + len(levels) * (panel_mm + 4) + 2)
    most = max(np.histogram(values[approach == level], edges)[0].max() for level in levels)
    told = []
    for k, level in enumerate(levels):
        of_level = values[approach == level]
        up = bottom + (len(levels) - 1 - k) * (panel_mm + 4)
        axes = axes_at(figure, left, up, SINGLE_MM - left - 3, panel_mm)
        _draw_bars(axes, of_level, edges, LOOKS[k % len(LOOKS)])
        for cut in rbh_bands_mm:
            axes.axvline(cut, color=INK, linewidth=0.8, linestyle=(0, (3, 2)))
        axes.set(xlim=(edges[0] - 0.25, edges[-1] + 0.25), ylim=(0, most * 1.22))
        axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))
        axes.tick_params(labelbottom=k == len(levels) - 1)
        axes.text(
            0.985,
            0.97,
            f"{level}, {counted(len(of_level), 'site')}",
            transform=axes.transAxes,
            ha="right",
            va="top",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )
        axes.set_ylabel("Sites")
        if k == 0:
            for cut in rbh_bands_mm:
                if edges[0] - 0.25 < cut < edges[-1] + 0.25:
                    axes.text(cut, most * 1.25, f"{cut:g} mm", ha="center", va="bottom")
        middle, low, high = np.median(of_level), of_level.min(), of_level.max()
        told.append(f"{counted(len(of_level), level + ' site')}, median {middle:.1f}, from {low:.1f} to {high:.1f} mm")
    axes.set_xlabel("Residual bone height in the middle of the footprint, mm")
    bands = _bands_told(cases[known])
    return Drawing(figure, f"Histogram of residual bone height by approach: {'; '.join(told)}.{bands}")


def _draw_bars(axes, values: np.ndarray, edges: np.ndarray, look: Look) -> None:
    """How many values lie between each two edges."""
    axes.bar(
        edges[:-1],
        np.histogram(values, edges)[0],
        BIN_MM,
        align="edge",
        linewidth=0.5,
        facecolor=look.colour if not look.hatch else "white",
        edgecolor="white" if not look.hatch else look.colour,
        hatch=look.hatch,
    )


def _bands_told(cases: pd.DataFrame) -> str:
    """How many sites are in each band of the plan."""
    if "rbh_band" not in cases:
        return ""
    counts = cases["rbh_band"].value_counts(sort=False)
    return f" By band: {listed([f'{n} at {band} mm' for band, n in counts.items() if n])}."
