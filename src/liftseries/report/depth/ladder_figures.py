"""The ladder of single cases, drawn: each pass against bone, sinus floor and planned rungs."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator, MultipleLocator

from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    MID,
    PALE,
    RULE,
    SINGLE_MM,
    SMALL_PT,
    TEXT_PT,
    Drawing,
    axes_at,
    drawn,
    name_beside,
    new_figure,
    text_width_mm,
    wrapped,
)
from liftseries.report.kit.numbers import counted, listed, missing
from liftseries.report.kit.words import deviation_words

LONGEST_NARROW_LOG = 16  # passes that fit one column; longer logs get the whole width


@drawn
def draw_ladder_case(ladder_cases: pd.DataFrame) -> Drawing | None:
    """The passes of one or two cases against bone, sinus floor and planned rungs; the crest on top.

    Parameters
    ----------
    ladder_cases : one row a pass
        `case, site_label, approach, step_no, role, length_mm, stop_length_mm, depth_mm, deepest_before_mm,
        finding, rbh_min_mm, rbh_max_mm, rungs_mm, deviations`; the last two space-separated.
    """
    if ladder_cases.empty:
        return None
    panels = [case.sort_values("step_no") for _, case in ladder_cases.groupby("case", sort=True)]
    longest = max(len(case) for case in panels)
    side_by_side = longest <= LONGEST_NARROW_LOG
    across = len(panels) if side_by_side else 1
    down = 1 if side_by_side else len(panels)
    figure_mm = DOUBLE_MM if across > 1 or not side_by_side else SINGLE_MM
    width = figure_mm / across
    left, head_mm, body_mm = 12.0, 5.0, 66.0
    labels_mm = max(text_width_mm(label) for case in panels for label in map(pass_label, _rows(case))) + 3
    notes = [wrapped(_deviations_told(case), width - 5) for case in panels]
    foot_mm = 11.0 + 3.4 * (max(note.count("\n") for note in notes) + 1) + 1
    panel_mm = head_mm + labels_mm + body_mm + foot_mm
    figure = new_figure(figure_mm, panel_mm * down + 1)
    deepest = max(
        float(pd.to_numeric(case[["depth_mm", "deepest_before_mm", "rbh_max_mm"]].stack()).max()) for case in panels
    )
    for k, (case, note) in enumerate(zip(panels, notes, strict=True)):
        x0 = width * (k if side_by_side else 0)
        y0 = 0.5 if side_by_side else panel_mm * (down - 1 - k) + 0.5
        axes = axes_at(figure, x0 + left, y0 + foot_mm, width - left - 12, body_mm)
        _draw_case(axes, case, max(deepest + 1.2, 1.22 * deepest))  # room for the word below the deepest pass
        heading = f"Case {int(case['case'].iloc[0])}, {case['approach'].iloc[0]}: {case['site_label'].iloc[0]}"
        figure_x = (x0 + 2.5) / figure_mm
        total = panel_mm * down + 1
        figure.text(figure_x, (y0 + panel_mm - 2.6) / total, heading, size=TEXT_PT, weight="bold", va="center")
        figure.text(figure_x, (y0 + foot_mm - 9.2) / total, note, va="top", linespacing=1.2)
    return Drawing(figure, " ".join(_case_told(case) for case in panels))


def _opened_told(step: pd.Series) -> str:
    """At which pass the floor was found open, and how deep that stood where it is known."""
    depth = "" if missing(step["depth_mm"]) else f", {step['depth_mm']:g} mm"
    return f"first found open at pass {int(step['step_no'])}{depth}"


def _rows(case: pd.DataFrame):
    return case.itertuples(index=False)


def pass_label(step) -> str:
    """`pilot 12.5 − 9`: what was used, and its length less what the stop takes off."""
    stop = "" if missing(step.stop_length_mm) or step.stop_length_mm == 0 else f" − {step.stop_length_mm:g}"
    return f"{step.role} {step.length_mm:g}{stop}"


def _deviations_told(case: pd.DataFrame) -> str:
    named = case["deviations"].iloc[0]
    words = deviation_words("" if missing(named) else str(named))
    return f"Deviations: {'; '.join(word[0].lower() + word[1:] for word in words)}." if words else "No deviation."


def _draw_case(axes, case: pd.DataFrame, deepest: float) -> None:
    n = len(case)
    first = case.iloc[0]
    low, high = float(first["rbh_min_mm"]), float(first["rbh_max_mm"])
    rungs = [float(rung) for rung in str(first["rungs_mm"]).split()] if not missing(first["rungs_mm"]) else []
    axes.set(xlim=(0.3, n + 0.7), ylim=(deepest, 0))
    _draw_bone(axes, n, low, high, rungs)
    _side_words(axes, [(low / 2, "bone"), ((low + high) / 2, "floor"), ((high + deepest) / 2, "sinus")], deepest)
    _draw_passes(axes, case)
    for step in _rows(case):
        axes.annotate(
            pass_label(step),
            (step.step_no, 0),
            xytext=(0, 4),
            textcoords="offset points",
            rotation=90,
            ha="center",
            va="bottom",
            size=SMALL_PT,
            annotation_clip=False,
        )
    axes.axhline(0, color=INK, linewidth=1.4, zorder=6, clip_on=False)
    axes.spines["bottom"].set_visible(False)
    axes.tick_params(axis="x", length=0)
    axes.xaxis.set_major_locator(MultipleLocator(1) if n <= 30 else MaxNLocator(12, integer=True))
    axes.yaxis.set_major_locator(MultipleLocator(1 if deepest <= 14 else 2))
    axes.set_xlabel("Pass")
    axes.set_ylabel("Depth below the crest, mm")


def _draw_bone(axes, n: int, low: float, high: float, rungs: list[float]) -> None:
    """Bone down to the lowest floor, the floor hatched down to the highest, and the planned rungs, under n passes."""
    axes.add_patch(Rectangle((0.3, 0), n + 0.4, low, facecolor=PALE, linewidth=0, zorder=0))
    axes.add_patch(
        Rectangle(
            (0.3, low),
            n + 0.4,
            high - low,
            facecolor="white",
            edgecolor=RULE,
            hatch="////",
            linewidth=0,
            zorder=0,
        )
    )
    for edge in (low, high):
        axes.axhline(edge, color=INK, linewidth=0.7, zorder=1)
    for rung in rungs:
        axes.axhline(rung, color=INK, linewidth=0.5, linestyle=(0, (1, 2.5)), zorder=1)
        axes.plot(
            [1.0, 1.012],
            [rung, rung],
            transform=axes.get_yaxis_transform(),
            color=INK,
            linewidth=1.4,
            clip_on=False,
        )


def _draw_passes(axes, case: pd.DataFrame) -> None:
    """A bar a drill pass, a circle a gauge pass; an arrow at the first that found the floor open."""
    opened = False
    for step in _rows(case):
        x, depth, before = step.step_no, float(step.depth_mm), float(step.deepest_before_mm)
        if step.role == "gauge":
            axes.plot(x, depth, marker="o", color=INK, markerfacecolor="white", markersize=4.6, zorder=4)
        elif depth > before:
            axes.add_patch(Rectangle((x - 0.3, before), 0.6, depth - before, facecolor=DARK, linewidth=0, zorder=3))
        else:
            axes.plot([x - 0.3, x + 0.3], [depth, depth], color=DARK, linewidth=2.0, zorder=3)
        if step.finding == "open" and not opened:
            opened = True
            axes.annotate(
                "open",
                (x, depth),
                xytext=(0, -20),
                textcoords="offset points",
                ha="center",
                va="top",
                weight="bold",
                arrowprops={"arrowstyle": "-|>", "color": MID, "linewidth": 1.2, "shrinkA": 0, "shrinkB": 3},
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
                zorder=5,
            )


def _side_words(axes, words: list[tuple[float, str]], deepest: float) -> None:
    """What each zone is, beside it; pushed apart where zones are thin."""
    placed = -np.inf
    for depth, word in words:
        placed = max(depth, placed + 0.055 * deepest)
        name_beside(axes, placed, word)


def _case_told(case: pd.DataFrame) -> str:
    first = case.iloc[0]
    drills = case[~case["role"].eq("gauge")]
    told = [
        f"Case {int(first['case'])} ({first['site_label']}, {first['approach']}): sinus floor between "
        f"{first['rbh_min_mm']:g} and {first['rbh_max_mm']:g} mm below the crest"
    ]
    if not missing(first["rungs_mm"]):
        told.append(f"planned rungs {listed(str(first['rungs_mm']).split())} mm")
    if len(drills):
        told.append(f"drill passes reached {listed([f'{depth:g}' for depth in drills['depth_mm']])} mm")
    n_gauges = len(case) - len(drills)
    told.append(counted(n_gauges, "gauge pass", "gauge passes"))
    opened = case[case["finding"].eq("open")]
    told.append(_opened_told(opened.iloc[0]) if len(opened) else "never found open")
    return "; ".join(told) + f". {_deviations_told(case)}"
