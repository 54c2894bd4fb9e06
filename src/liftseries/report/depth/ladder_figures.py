"""The ladder of worked cases, drawn: the depth that each pass reached against bone, sinus floor and rungs."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator, MultipleLocator

from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
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
from liftseries.report.kit.numbers import missing
from liftseries.report.kit.sentences import small
from liftseries.report.kit.words import deviation_words
from liftseries.report.languages.say import say

LONGEST_NARROW_LOG = 10  # passes that fit one column; longer logs get the whole width
LEFT_MM, RIGHT_MM, HEAD_MM, BODY_MM = 12.0, 14.0, 5.0, 60.0
UPRIGHT_MM = 6.0  # a pass narrower than this has its depth written upwards


@drawn
def draw_ladder_case(ladder_cases: pd.DataFrame, narrow: bool = False) -> Drawing | None:
    """The depth that each pass of one or two cases reached, against bone, sinus floor and rungs; the crest on top.

    Parameters
    ----------
    ladder_cases : one row a pass
        `case, site_label, approach, step_no, role, length_mm, stop_length_mm, depth_mm, deepest_before_mm,
        finding, rbh_min_mm, rbh_max_mm, rungs_mm, deviations`; the last two space-separated.
    narrow : the cases one below the other, in one column
    """
    if ladder_cases.empty:
        return None
    panels = [case.sort_values("step_no") for _, case in ladder_cases.groupby("case", sort=True)]
    side_by_side = not narrow and max(len(case) for case in panels) <= LONGEST_NARROW_LOG
    across = len(panels) if side_by_side else 1
    down = 1 if side_by_side else len(panels)
    figure_mm = SINGLE_MM if narrow or (side_by_side and across == 1) else DOUBLE_MM
    width = figure_mm / across
    roles_mm = max(text_width_mm(str(step.role)) for case in panels for step in _rows(case)) + 3
    notes = [wrapped(_deviations_told(case), width - 5) for case in panels]
    foot_mm = 11.0 + 3.4 * (max(note.count("\n") for note in notes) + 1) + 1
    panel_mm = HEAD_MM + roles_mm + BODY_MM + foot_mm
    total = panel_mm * down + 1
    figure = new_figure(figure_mm, total)
    deepest = max(
        float(pd.to_numeric(case[["depth_mm", "deepest_before_mm", "rbh_max_mm"]].stack()).max()) for case in panels
    )
    for k, (case, note) in enumerate(zip(panels, notes, strict=True)):
        x0 = width * (k if side_by_side else 0)
        y0 = 0.5 if side_by_side else panel_mm * (down - 1 - k) + 0.5
        axes = axes_at(figure, x0 + LEFT_MM, y0 + foot_mm, width - LEFT_MM - RIGHT_MM, BODY_MM)
        pass_mm = (width - LEFT_MM - RIGHT_MM) / (len(case) + 0.4)
        _draw_case(axes, case, max(deepest + 1.2, 1.22 * deepest), pass_mm)  # room for the depth of the deepest pass
        heading = f"Case {int(case['case'].iloc[0])}, {case['approach'].iloc[0]}: {case['site_label'].iloc[0]}"
        figure_x = (x0 + 2.5) / figure_mm
        figure.text(figure_x, (y0 + panel_mm - 2.6) / total, heading, size=TEXT_PT, weight="bold", va="center")
        figure.text(figure_x, (y0 + foot_mm - 9.2) / total, note, va="top", linespacing=1.2)
    covers = say("depth.covers_cases", cases=len(panels), passes=sum(map(len, panels)))
    return Drawing(figure, " ".join(_case_told(case) for case in panels), covers)


def _rows(case: pd.DataFrame):
    return case.itertuples(index=False)


def _deviations_told(case: pd.DataFrame) -> str:
    named = case["deviations"].iloc[0]
    words = deviation_words("" if missing(named) else str(named))
    return say("depth.case_deviations", kinds="; ".join(map(small, words))) if words else say("depth.case_no_deviation")


def _draw_case(axes, case: pd.DataFrame, deepest: float, pass_mm: float) -> None:
    n = len(case)
    first = case.iloc[0]
    low, high = float(first["rbh_min_mm"]), float(first["rbh_max_mm"])
    rungs = [float(rung) for rung in str(first["rungs_mm"]).split()] if not missing(first["rungs_mm"]) else []
    axes.set(xlim=(0.3, n + 0.7), ylim=(deepest, 0))
    _draw_bone(axes, n, low, high, rungs)
    floors = [(low, f"floor {low:g}"), *([] if low == high else [(high, f"to {high:g}")])]
    _side_words(axes, [(low / 2, "bone"), *floors, ((high + deepest) / 2, "sinus")], deepest)
    _draw_passes(axes, case, 0 if pass_mm >= UPRIGHT_MM else 90)
    for step in _rows(case):
        axes.annotate(
            step.role,
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
    """Bone down to the lowest floor, the floor hatched down to the highest, and the rungs, under n passes."""
    axes.add_patch(Rectangle((0.3, 0), n + 0.4, low, facecolor=PALE, linewidth=0, zorder=0))
    hatched = {"facecolor": "white", "edgecolor": RULE, "hatch": "////", "linewidth": 0}
    axes.add_patch(Rectangle((0.3, low), n + 0.4, high - low, zorder=0, **hatched))
    axes.axhline(low, color=INK, linewidth=0.9, zorder=1)
    if high > low:
        axes.axhline(high, color=INK, linewidth=0.9, linestyle=(0, (6, 2)), zorder=1)
    for rung in rungs:
        axes.axhline(rung, color=INK, linewidth=0.5, linestyle=(0, (1, 2.5)), zorder=1)


def _draw_passes(axes, case: pd.DataFrame, rotation: float) -> None:
    """A bar a drill pass, a circle a gauge pass, its depth in mm below it, and where the floor was first found open."""
    opened = False
    for step in _rows(case):
        x, depth, before = step.step_no, float(step.depth_mm), float(step.deepest_before_mm)
        if step.role == "gauge":
            axes.plot(x, depth, marker="o", color=INK, markerfacecolor="white", markersize=4.6, zorder=4)
        elif depth > before:
            axes.add_patch(Rectangle((x - 0.3, before), 0.6, depth - before, facecolor=DARK, linewidth=0, zorder=3))
        else:
            axes.plot([x - 0.3, x + 0.3], [depth, depth], color=DARK, linewidth=2.0, zorder=3)
        finds_it = step.finding == "open" and not opened
        opened |= finds_it
        text = f"{depth:g}, open" if finds_it and rotation else f"{depth:g}\nopen" if finds_it else f"{depth:g}"
        axes.annotate(
            text,
            (x, depth),
            xytext=(0, -4),
            textcoords="offset points",
            ha="center",
            va="top",
            rotation=rotation,
            linespacing=1.1,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.85},
            zorder=5,
            annotation_clip=False,
        )


def _side_words(axes, words: list[tuple[float, str]], deepest: float) -> None:
    """What each zone and line is, beside it; pushed apart where they are close."""
    placed = -np.inf
    for depth, word in words:
        placed = max(depth, placed + 0.055 * deepest)
        name_beside(axes, placed, word, 3)


def _case_told(case: pd.DataFrame) -> str:
    first = case.iloc[0]
    drills = case[~case["role"].eq("gauge")]
    depths = [f"{depth:g}" for depth in drills["depth_mm"]]
    opened = case[case["finding"].eq("open")]
    return say(
        "depth.alt_case",
        case=int(first["case"]),
        label=first["site_label"],
        approach=first["approach"],
        low=first["rbh_min_mm"],
        high=first["rbh_max_mm"],
        rungs="" if missing(first["rungs_mm"]) else say("depth.alt_rungs", rungs=str(first["rungs_mm"]).split()),
        drills=say("depth.alt_drills", depths=depths) if depths else "",
        gauges=len(case) - len(drills),
        opened=_opened_told(opened.iloc[0]) if len(opened) else say("depth.alt_never_open"),
        deviations=_deviations_told(case),
    )


def _opened_told(step: pd.Series) -> str:
    """At which pass the floor was found open, and how deep that stood where it is known."""
    place = {"pass_no": int(step["step_no"])}
    if missing(step["depth_mm"]):
        return say("depth.alt_opened", **place)
    return say("depth.alt_opened_at", depth=float(step["depth_mm"]), **place)
