"""The funnel: each unit's rate over its sites, with the limits of its own make-up."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from matplotlib.ticker import FuncFormatter, MaxNLocator

from liftseries.report.audit.units import ALARM, CLUSTERED, Unit, flag_words, units_in
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    LIGHT,
    MID,
    SINGLE_MM,
    Drawing,
    axes_at,
    drawn,
    new_figure,
    text_width_mm,
)
from liftseries.report.kit.numbers import missing, percent
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say

HEIGHT_MM, LEFT_MM, BOTTOM_MM, TOP_MM, RIGHT_MM = 60.0, 13.0, 11.0, 9.0, 3.0
LINE_MM, NAME_MM = 3.2, 1.6
LIMITS = (("upper_alarm", "-", INK, 1.1), ("upper_alert", (0, (4, 2)), MID, 1.1),
          ("lower_alert", (0, (4, 2)), MID, 1.1), ("lower_alarm", "-", INK, 1.1))  # fmt: skip


@drawn
def draw_audit_funnel(funnel: pd.DataFrame, words: Words, narrow: bool = False) -> Drawing | None:
    """Each unit of ten sites or more at its rate; limits of all units, joined along their sites.

    Parameters
    ----------
    funnel : rows of `audit.funnel`
    words : names of columns
    narrow : at the width of one column
    """
    found = [unit for unit in units_in(funnel) if unit.is_told(CLUSTERED)]
    shown = [unit for unit in found if unit.has_rate]
    if not shown:
        return None
    width_mm = SINGLE_MM if narrow else DOUBLE_MM
    figure = new_figure(width_mm, HEIGHT_MM)
    body = width_mm - LEFT_MM - RIGHT_MM, HEIGHT_MM - BOTTOM_MM - TOP_MM
    axes = axes_at(figure, LEFT_MM, BOTTOM_MM, *body)
    highest = max(
        value for unit in shown for value in (unit.value("rate"), unit.value("upper_alarm")) if not missing(value)
    )
    axes.set(xlim=(0, 1.12 * max(unit.n_sites for unit in found)), ylim=(-0.03 * highest, min(1.04, 1.12 * highest)))
    for term, line, colour, width in LIMITS:
        points = sorted((unit.n_sites, unit.value(term)) for unit in found if not missing(unit.value(term)))
        if points:
            axes.plot(*zip(*_highest(points), strict=True), linestyle=line, color=colour, linewidth=width, zorder=1)
    axes.axhline(found[0].value("expected"), color=LIGHT, linewidth=1.4, zorder=0)
    for unit in shown:
        flagged = unit.flag() != 0
        face = "white" if not flagged else INK if abs(unit.flag()) == ALARM else MID
        marker = "o" if not flagged else "s" if abs(unit.flag()) == ALARM else "D"
        axes.plot(
            unit.n_sites,
            unit.value("rate"),
            marker=marker,
            color=DARK,
            markerfacecolor=face,
            linestyle="none",
            zorder=3,
        )
    _name(axes, shown, body)
    axes.yaxis.set_major_locator(MaxNLocator(6))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.xaxis.set_major_locator(MaxNLocator(6 if narrow else 10, integer=True))
    axes.set_xlabel(say("audit.axis_sites"))
    axes.set_ylabel(say("audit.axis_rate"))
    _key(figure, width_mm)
    return Drawing(figure, _alt(shown, found), _covers(found))


def _highest(points: Sequence[tuple[int, float]]) -> list[tuple[int, float]]:
    """Of units with as many sites the higher limit: a line has one height a place."""
    return sorted({n: value for n, value in points}.items())


def _name(axes, shown: Sequence[Unit], body: tuple[float, float]) -> None:
    """Names beside their points, flagged units first, where no other name or point stands."""
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    at = {
        unit.name: ((unit.n_sites - x0) / (x1 - x0) * body[0], (unit.value("rate") - y0) / (y1 - y0) * body[1])
        for unit in shown
    }
    taken = [(x - 1, y - 1, x + 1, y + 1) for x, y in at.values()]
    for unit in sorted(shown, key=lambda unit: (-abs(unit.flag()), -unit.n_sites)):
        x, y = at[unit.name]
        wide = text_width_mm(unit.name)
        places = (
            (x + NAME_MM, y - LINE_MM / 2), (x - NAME_MM - wide, y - LINE_MM / 2),
            (x - wide / 2, y + NAME_MM), (x - wide / 2, y - NAME_MM - LINE_MM),
        )  # fmt: skip
        for left, low in places:
            box = (left, low, left + wide, low + LINE_MM)
            inside = box[0] >= 0.5 and box[2] <= body[0] and box[1] >= 0 and box[3] <= body[1]
            if inside and not any(_meet(box, other) for other in taken):
                taken.append(box)
                axes.text(
                    left / body[0], (low + LINE_MM / 2) / body[1], unit.name, transform=axes.transAxes, va="center"
                )
                break


def _meet(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _key(figure, width_mm: float) -> None:
    """What the lines are, above the axes."""
    from matplotlib.lines import Line2D

    lines = [
        Line2D([], [], color=LIGHT, linewidth=1.4),
        Line2D([], [], color=MID, linestyle=(0, (4, 2)), linewidth=1.1),
        Line2D([], [], color=INK, linewidth=1.1),
    ]
    names = [say(f"audit.key_{name}") for name in ("expected", "alert", "alarm")]
    place = {"bbox_to_anchor": (LEFT_MM / width_mm, 1.0), "loc": "upper left", "borderaxespad": 0.3}
    figure.legend(lines, names, ncol=3, handlelength=2.2, columnspacing=1.4, **place)


def _alt(shown: Sequence[Unit], found: Sequence[Unit]) -> str:
    told = [
        say(
            "audit.alt_unit",
            unit=unit.name,
            rate=percent(unit.value("rate")),
            sites=unit.n_sites,
            flag=flag_words(unit.flag()),
        )
        for unit in shown
    ]
    return say("audit.alt_funnel", expected=percent(found[0].value("expected")), units="; ".join(told))


def _covers(found: Sequence[Unit]) -> str:
    small_units = sum(not unit.has_rate for unit in found)
    told = {"sites": sum(unit.n_sites for unit in found), "events": sum(unit.n_events for unit in found)}
    return say("audit.covers_small", **told, n=small_units) if small_units else say("audit.covers", **told)
