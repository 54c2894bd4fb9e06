"""Where to look: units by indicators, each with its value, on which side it lies, and whether it is enough."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from liftseries.report.audit.indicators import (
    ALL,
    asked_terms,
    bad_side,
    is_true,
    is_worse_than,
    strips_by_cell,
    title,
)
from liftseries.report.kit.figures.style import (
    DOUBLE_MM,
    INK,
    PALE,
    RULE,
    SINGLE_MM,
    Drawing,
    drawn,
    new_figure,
    text_width_mm,
    wrapped,
)
from liftseries.report.kit.numbers import missing
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say

MOST_INDICATORS, MOST_UNITS = 12, 32
EDGE_MM, LABEL_GAP_MM = 1.5, 2.0
HEAD_MM = 30.0  # names of indicators stand upright
ROW_MM, NARROW_ROW_MM = 4.8, 8.2
GREY = "#6f777d"


@drawn
def draw_audit_matrix(strips: pd.DataFrame, words: Words, narrow: bool = False) -> Drawing | None:
    """A row a unit, the whole series first, a column an indicator.

    Parameters
    ----------
    strips : `audit_indicator_strips`
    words : names of columns
    narrow : at the width of one column
    """
    terms = [term for term in asked_terms(strips) if _told(strips, term)][:MOST_INDICATORS]
    names = list(dict.fromkeys(strips["unit"].astype(str)))[: MOST_UNITS + 1] if len(strips) else []
    if not terms or len(names) < 2:
        return None
    width_mm = SINGLE_MM if narrow else DOUBLE_MM
    row_mm = NARROW_ROW_MM if narrow else ROW_MM
    labels = [say("audit.series_row") if name == ALL else name for name in names]
    left_mm = EDGE_MM + min(30.0, max(map(text_width_mm, labels))) + LABEL_GAP_MM
    column_mm = min(15.0, (width_mm - left_mm - EDGE_MM) / len(terms))
    key = wrapped(say("audit.key_matrix"), width_mm - 2 * EDGE_MM)
    key_mm = 3.4 * (key.count("\n") + 1) + 2
    height_mm = HEAD_MM + row_mm * len(names) + key_mm
    figure = new_figure(width_mm, height_mm)
    axes = figure.add_axes([0, 0, 1, 1])
    axes.set(xlim=(0, width_mm), ylim=(height_mm, 0))
    axes.axis("off")
    for j, term in enumerate(terms):
        x = left_mm + column_mm * (j + 0.5)
        head = wrapped(_title(strips, term), HEAD_MM - 3)
        axes.text(x, HEAD_MM - 1.5, head, rotation=90, ha="center", va="bottom", linespacing=1.05)
    cells = strips_by_cell(strips)
    for i, (name, label) in enumerate(zip(names, labels, strict=True)):
        top = HEAD_MM + row_mm * i
        if name == ALL:
            axes.fill_between([0, left_mm + column_mm * len(terms)], top, top + row_mm, color=PALE, linewidth=0)
        axes.plot([0, left_mm + column_mm * len(terms)], [top, top], color=RULE, linewidth=0.5)
        axes.text(EDGE_MM, top + row_mm / 2, label, va="center", weight="bold" if name == ALL else "normal")
        for j, term in enumerate(terms):
            _cell(axes, cells, name, term, (left_mm + column_mm * j, top, column_mm, row_mm), narrow)
    axes.text(EDGE_MM, height_mm - 1, key, va="bottom", linespacing=1.2)
    return Drawing(
        figure, _alt(strips, names, terms), say("audit.covers_matrix", n=len(names) - 1, indicators=len(terms))
    )


def _told(strips: pd.DataFrame, term: str) -> bool:
    """Whether the indicator has a value anywhere."""
    return bool(strips.loc[strips["indicator"].eq(term), "value"].notna().any())


def _title(strips: pd.DataFrame, term: str) -> str:
    unit = "mm" if strips.loc[strips["indicator"].eq(term), "counts"].eq("measurements").any() else "%"
    return say("audit.with_unit", name=title(strips, term), unit=unit)


def _cell(
    axes, cells: Mapping[tuple[str, str], pd.Series], name: str, term: str, box: tuple[float, ...], narrow: bool
) -> None:
    """Number and mark of a cell: bold where its whole interval is worse, grey and without a mark where not enough."""
    left, top, wide, high = box
    row, series = cells.get((name, term)), cells.get((ALL, term))
    if row is None or missing(row["value"]):
        axes.text(left + wide / 2, top + high / 2, "–", ha="center", va="center", color=GREY)
        return
    enough = is_true(row["enough"])
    text = f"{row['value']:.1f}" if row["counts"] == "measurements" else f"{100 * row['value']:.0f}"
    side = bad_side(row, None if name == ALL else series) if enough else 0
    against = row["standard"] if not missing(row["standard"]) else None if name == ALL else series["value"]
    beyond = side < 0 and not missing(against) and is_worse_than(row, against)
    x, y = left + wide / 2 - (0 if narrow else 1.6), top + high / 2 - (1.6 if narrow else 0)
    axes.text(
        x, y, text, ha="center", va="center", color=INK if enough else GREY, weight="bold" if beyond else "normal"
    )
    if side:
        at = (left + wide / 2, top + high / 2 + 2.2) if narrow else (left + wide / 2 + 3.2, y)
        face = INK if beyond else "white"
        axes.plot(*at, marker="v" if side < 0 else "^", color=INK, markerfacecolor=face, markersize=4.2)


def _alt(strips: pd.DataFrame, names: Sequence[str], terms: Sequence[str]) -> str:
    """The cells that are enough and worse, in words."""
    worse, cells = [], strips_by_cell(strips)
    for term in terms:
        series = cells.get((ALL, term))
        rows = [cells.get((name, term)) for name in names if name != ALL]
        found = [
            str(row["unit"]) for row in rows if row is not None and is_true(row["enough"]) and bad_side(row, series) < 0
        ]
        if found:
            worse.append(say("audit.alt_worse", indicator=title(strips, term), units=found))
    return say("audit.alt_matrix", told="; ".join(worse)) if worse else say("audit.alt_matrix_none")
