"""Who is in the study, drawn: the flow of patients and sites, in two layouts.

Every box is as high as its text, so that no text leaves its box whatever the numbers are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd
from matplotlib.patches import FancyArrowPatch, Rectangle

from liftseries.report.kit.figures.style import (
    DOUBLE_MM,
    INK,
    SINGLE_MM,
    SMALL_PT,
    Drawing,
    axes_at,
    drawn,
    new_figure,
    wrapped,
)
from liftseries.report.kit.stages import IN_SERIES, READ, SET_ASIDE, has_any
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say

LINE_MM, PAD_MM, GAP_MM, EDGE_MM = 3.6, 2.2, 5.0, 1.0
MOST_REASONS = 6
# Stage -> what its box is called, in the order in which they stand.
BRANCHES = {
    "with a drilling log": "With a drilling log",
    "perforation known": "Perforation known: yes or no",
    "with an implant": "Implant placed",
    "followed": "Implant seen at a visit",
}


@dataclass(frozen=True)
class Box:
    """A text in a frame; mm from the left and from the top; `lines` as they were before they were broken."""

    text: str
    lines: tuple[str, ...]
    left: float
    top: float
    width: float
    height: float
    bold: bool = False

    @property
    def middle(self) -> float:
        return self.left + self.width / 2

    @property
    def below(self) -> float:
        return self.top + self.height


def box(lines: Sequence[str], left: float, top: float, width: float, bold: bool = False) -> Box:
    """A box of that width, as high as its text."""
    text = "\n".join(wrapped(line, width - 2 * PAD_MM) for line in lines)
    height = (text.count("\n") + 1) * LINE_MM + 2 * PAD_MM
    return Box(text, tuple(lines), left, top, width, height, bold)


def people(row) -> str:
    """`3 patients, 5 sites`; `none`."""
    if not (has_any(row["n_patients"]) or has_any(row["n_sites"])):
        return say("series.nobody")
    return say("series.people", patients=row["n_patients"], sites=row["n_sites"])


def refusals(set_aside: pd.DataFrame, words: Words) -> list[str]:
    """Why rows were set aside, the commonest first: `Residual bone height, lowest: out of range (3 rows)`."""
    if set_aside.empty:
        return []
    rows = set_aside.drop_duplicates(["table", "file", "row", "column", "rule"])
    reasons = rows.fillna({"column": ""}).groupby(["table", "column", "rule"]).size()
    reasons = reasons.sort_values(ascending=False, kind="stable")
    told = [
        say(
            "series.refused",
            column=words.column(column) if column else table.capitalize(),
            rule=rule.replace("_", " "),
            rows=n,
        )
        for (table, column, rule), n in reasons.items()
    ]
    more = len(told) - MOST_REASONS
    return told if more <= 0 else [*told[:MOST_REASONS], say("series.more_reasons", reasons=more)]


@drawn
def draw_flow(flow: pd.DataFrame, set_aside: pd.DataFrame, words: Words, narrow: bool = False) -> Drawing | None:
    """Boxes from what was read to what each question could use.

    Parameters
    ----------
    flow : `stage, n_patients, n_sites`; stages `read`, `set aside`, `in the series`, then those of `BRANCHES`
    set_aside : set_aside.csv, for the reasons; without rows only numbers are given
    words : the names of columns
    narrow : for one column, the branches one below the other
    """
    stages = {str(row["stage"]): row for _, row in flow.iterrows()} if len(flow) else {}
    if IN_SERIES not in stages or not has_any(stages[IN_SERIES]["n_sites"]):
        return None
    width = SINGLE_MM if narrow else DOUBLE_MM
    trunk, aside = _trunk(stages, refusals(set_aside, words), width, narrow)
    branches = _branches(stages, trunk[-1], width, narrow)
    boxes = [*trunk, *aside, *branches]
    height = max(one.below for one in boxes) + EDGE_MM
    figure = new_figure(width, height)
    axes = axes_at(figure, 0, 0, width, height)
    axes.set(xlim=(0, width), ylim=(height, 0))
    axes.set_axis_off()
    for one in boxes:
        _draw_box(axes, one)
    _draw_trunk(axes, trunk, aside)
    (_draw_rail_beside if narrow else _draw_rail_above)(axes, trunk[-1], branches)
    told = [say("series.flow_box", title=one.lines[0], people=", ".join(one.lines[1:])) for one in boxes]
    row = stages[IN_SERIES]
    covers = say("series.covers", sites=row["n_sites"], patients=row["n_patients"])
    return Drawing(figure, say("series.flow_alt", boxes="; ".join(told)), covers[:1].upper() + covers[1:])


def _trunk(stages: dict, reasons: list[str], width: float, narrow: bool) -> tuple[list[Box], list[Box]]:
    """What was read, what is in the series; and between them, to the right, what was set aside."""
    broad = width - 2 * EDGE_MM if narrow else 64.0
    left = EDGE_MM if narrow else (width - broad) / 2
    trunk, aside, top = [], [], EDGE_MM
    out = stages.get(SET_ASIDE)
    if READ in stages and out is not None and people(out) not in ("", say("series.nobody")):
        trunk.append(box(("Read", people(stages[READ])), left, top, broad))
        gap = GAP_MM / 2
        beside = 16.0 if narrow else left + broad / 2 + 10
        aside.append(box(("Set aside", people(out), *reasons), beside, trunk[0].below + gap, width - EDGE_MM - beside))
        top = aside[0].below + gap
    trunk.append(box(("In the series", people(stages[IN_SERIES])), left, top, broad, bold=True))
    return trunk, aside


def _branches(stages: dict, above: Box, width: float, narrow: bool) -> list[Box]:
    """What each question could use: side by side, or one below the other."""
    told = {
        name: stages[stage]
        for stage, name in BRANCHES.items()
        if stage in stages and has_any(stages[stage]["n_sites"]) and people(stages[stage])
    }
    if narrow:
        boxes, top = [], above.below + GAP_MM / 2
        for name, row in told.items():
            boxes.append(box((name, people(row)), 10.0, top, width - EDGE_MM - 10.0))
            top = boxes[-1].below + GAP_MM / 3
        return boxes
    broad = (width - 2 * EDGE_MM - 3 * (len(told) - 1)) / max(len(told), 1)
    boxes = [
        box((name, people(row)), EDGE_MM + k * (broad + 3), above.below + 2 * GAP_MM, broad)
        for k, (name, row) in enumerate(told.items())
    ]
    tallest = max((one.height for one in boxes), default=0)
    return [replace(one, height=tallest) for one in boxes]


def _draw_box(axes, one: Box) -> None:
    frame = {"facecolor": "white", "edgecolor": INK, "linewidth": 1.2 if one.bold else 0.6}
    axes.add_patch(Rectangle((one.left, one.top), one.width, one.height, **frame))
    centred = {"ha": "center", "va": "center", "size": SMALL_PT, "linespacing": 1.3}
    axes.text(one.middle, one.top + one.height / 2, one.text, **centred)


def _draw_trunk(axes, trunk: list[Box], aside: list[Box]) -> None:
    if len(trunk) < 2:
        return
    x = min(trunk[0].middle, 8.0) if aside[0].left < trunk[0].middle else trunk[0].middle
    _arrow(axes, (x, trunk[0].below), (x, trunk[1].top))
    middle = aside[0].top + aside[0].height / 2
    _arrow(axes, (x, middle), (aside[0].left, middle))


def _draw_rail_above(axes, above: Box, branches: list[Box]) -> None:
    if not branches:
        return
    rail = above.below + GAP_MM
    axes.plot([above.middle, above.middle], [above.below, rail], color=INK, linewidth=0.7)
    ends = [one.middle for one in branches] + [above.middle]
    axes.plot([min(ends), max(ends)], [rail, rail], color=INK, linewidth=0.7)
    for one in branches:
        _arrow(axes, (one.middle, rail), (one.middle, one.top))


def _draw_rail_beside(axes, above: Box, branches: list[Box]) -> None:
    if not branches:
        return
    x = branches[0].left / 2
    last = branches[-1].top + branches[-1].height / 2
    axes.plot([x, x], [above.below, last], color=INK, linewidth=0.7)
    for one in branches:
        middle = one.top + one.height / 2
        _arrow(axes, (x, middle), (one.left, middle))


def _arrow(axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    look = {"arrowstyle": "-|>", "mutation_scale": 6, "color": INK, "linewidth": 0.7, "shrinkA": 0, "shrinkB": 0}
    axes.add_patch(FancyArrowPatch(start, end, **look))
