"""Shares of sites, drawn: each deviation with what it means, how the drilling ended, how many went as planned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter

from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    LOOKS,
    PALE,
    SMALL_PT,
    Drawing,
    Look,
    axes_at,
    drawn,
    new_figure,
    text_width_mm,
    wrapped,
)
from liftseries.report.kit.numbers import interval, is_withheld, missing, percent, share_of, short_count
from liftseries.report.kit.words import CANNOT_OCCUR, DEFINITIONS, DEVIATIONS, ENDED, IMPOSSIBLE, NOT_JUDGED, Words

TITLE_MM, LINE_MM, GAP_MM = (
    3.6,
    3.0,
    2.6,
)  # of a row: its title, each line of its definition, what parts it from the next
LABEL_MM, NOT_JUDGED_MM = 66.0, 20.0


@drawn
def draw_deviations(deviations: pd.DataFrame) -> Drawing | None:
    """Share of the sites that can be judged with each deviation, and how many cannot, guided and freehand apart.

    Parameters
    ----------
    deviations : `deviation, subset, n_sites, n_true, share, n_not_judged`
        Of the subsets those by approach are drawn, or `all` where there are none.
    """
    counts = deviations[["n_sites", "n_not_judged"]].apply(pd.to_numeric)
    table = deviations[counts.ne(0).any(axis=1)]
    if table.empty:
        return None
    subsets = [subset for subset in table["subset"].unique() if subset.startswith("approach=")] or ["all"]
    subsets.sort(key=lambda subset: subset != "approach=guided")
    kinds = list(dict.fromkeys(table["deviation"]))
    cells = {(row.deviation, row.subset): row for row in table.itertuples(index=False)}
    heads = [subset.partition("=")[2] or "all sites" for subset in subsets]
    texts = {(kind, subset): _cell_told(cells, kind, subset) for kind in kinds for subset in subsets}
    labels = [wrapped(DEFINITIONS.get(kind, ""), LABEL_MM - 8) for kind in kinds]
    heights = [TITLE_MM + LINE_MM * (label.count("\n") + 1) + GAP_MM for label in labels]
    column_mm = max(text_width_mm(line) for text in [*texts.values(), *heads] for line in text.split("\n")) + 5
    bottom, body = 11.0, sum(heights)
    figure = new_figure(DOUBLE_MM, bottom + body + 8)
    width = DOUBLE_MM - LABEL_MM - column_mm * len(subsets) - NOT_JUDGED_MM - 12
    shares, gone = (axes_at(figure, left, bottom, wide, body) for left, wide in (
        (LABEL_MM, width), (DOUBLE_MM - NOT_JUDGED_MM - 6, NOT_JUDGED_MM)))  # fmt: skip
    most = pd.to_numeric(table.loc[table["subset"].isin(subsets), "share"]).max()
    _percent_axis(shares, body, 0.05 if missing(most) else max(0.05, 1.08 * most), "Of those judged, %")
    _percent_axis(gone, body, 1.0, "Cannot be judged, %")
    column_at = [LABEL_MM + width + 5 + k * column_mm for k in range(len(subsets))]
    for look, head, at in zip(LOOKS, heads, column_at, strict=False):
        _head(figure, at, bottom + body + 3.2, head, look)
    top = 0.0
    for kind, label, height in zip(kinds, labels, heights, strict=True):
        _name(figure, bottom + body - top, DEVIATIONS.get(kind, kind), label)
        for k, subset in enumerate(subsets):
            look, y = LOOKS[k % len(LOOKS)], top + (height - GAP_MM / 2) * (k + 1) / (len(subsets) + 1)
            _text(figure, column_at[k] + 4.5, bottom + body - top - 1, texts[kind, subset], va="top", linespacing=1.25)
            if (kind, subset) in cells and (kind, subset) not in IMPOSSIBLE:
                _draw_cell(shares, gone, cells[kind, subset], y, look)
        top += height
        for axes in (shares, gone):
            axes.axhline(top - GAP_MM / 2, color=PALE, linewidth=0.6, zorder=0)
    told = "; ".join(
        f"{DEVIATIONS.get(kind, kind).lower()}: "
        + ", ".join(
            f"{head} {texts[kind, subset]}".replace("\n", ", ") for head, subset in zip(heads, subsets, strict=True)
        )
        for kind in kinds
    )
    return Drawing(figure, f"Sites with a drilling log that show each deviation, of those that can be judged. {told}.")


def _cell_told(cells: Mapping, kind: str, subset: str) -> str:
    """`12 of 340 (3.5%)` and, in a line of its own, how many cannot be judged."""
    if (kind, subset) in IMPOSSIBLE:
        return CANNOT_OCCUR
    cell = cells.get((kind, subset))
    if cell is None:
        return "no log"
    judged = share_of(cell.n_true, cell.n_sites) if cell.n_sites else "none judged"
    if is_withheld(cell.n_true) or is_withheld(cell.n_sites):
        judged = f"{short_count(cell.n_true)} of {short_count(cell.n_sites)}"
    return judged + (f"\n{short_count(cell.n_not_judged)} {NOT_JUDGED}" if cell.n_not_judged else "")


def _draw_cell(shares, gone, cell, y: float, look: Look) -> None:
    """The share among those judged as a mark on a line, those that cannot be judged as a hatched bar."""
    if not missing(cell.share):
        shares.plot([0, cell.share], [y] * 2, color=look.colour, linewidth=0.9, linestyle=look.line)
        mark = {"marker": look.marker, "color": look.colour, "markerfacecolor": look.face}
        shares.plot(cell.share, y, clip_on=False, zorder=3, **mark)
    if is_withheld(cell.n_sites) or is_withheld(cell.n_not_judged) or not cell.n_not_judged:
        return
    share = cell.n_not_judged / (cell.n_sites + cell.n_not_judged)
    gone.add_patch(Rectangle((0, y - 1.1), share, 2.2, facecolor="white", edgecolor=look.colour, hatch="/////", lw=0.6))


def _percent_axis(axes, body: float, most: float, label: str) -> None:
    axes.set(ylim=(body, 0), xlim=(0, most), yticks=[])
    axes.grid(axis="x")
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.set_xlabel(label)


def _text(figure, x_mm: float, y_mm: float, text: str, **options) -> None:
    """A text at a place counted from the figure's lower left corner, mm."""
    width, height = (25.4 * inches for inches in figure.get_size_inches())
    figure.text(x_mm / width, y_mm / height, text, **options)


def _head(figure, x_mm: float, y_mm: float, head: str, look: Look) -> None:
    _text(figure, x_mm + 4.5, y_mm, head, weight="bold", va="center")
    width, height = (25.4 * inches for inches in figure.get_size_inches())
    mark = {"marker": look.marker, "color": look.colour, "markerfacecolor": look.face}
    figure.add_artist(Line2D([(x_mm + 2) / width], [y_mm / height], **mark))


def _name(figure, y_mm: float, title: str, definition: str) -> None:
    _text(figure, 2, y_mm, title, weight="bold", va="top")
    _text(figure, 2, y_mm - TITLE_MM, definition, va="top", size=SMALL_PT, linespacing=1.2)


# ── shares with their intervals ─────────────────────────────────────────────────────────────────────────────


@drawn
def draw_ended(ended: pd.DataFrame) -> Drawing | None:
    """How the drilling ended against the plan, each share with its interval.

    Parameters
    ----------
    ended : rows of `depth.ended`
    """
    quoted = ended[ended["headline"].astype(bool)]
    if quoted.empty:
        return None
    names = [ENDED.get(term, term) for term in quoted["term"]]
    return _draw_shares(
        quoted, names, "Sites with a plan and a drilling log that ended so, %", "How the drilling ended"
    )


@drawn
def draw_adherence(adherence: pd.DataFrame) -> Drawing | None:
    """Sites drilled as planned, of all and by approach, protocol and centre, each share with its interval.

    Parameters
    ----------
    adherence : rows of `depth.adherence`
    """
    quoted = adherence[adherence["headline"].astype(bool)]
    if quoted.empty:
        return None
    words = Words()
    names = [words.subset(subset) for subset in quoted["subset"]]
    return _draw_shares(quoted, names, "Sites drilled as planned, %", "Sites drilled as planned")


def _draw_shares(rows: pd.DataFrame, names: Sequence[str], label: str, told: str) -> Drawing:
    counts = [share_of(row["n_events"], row["n_sites"]) for _, row in rows.iterrows()]
    numbers = [interval(row["estimate"], row["conf_low"], row["conf_high"], percent) for _, row in rows.iterrows()]
    numbers = [text.partition(" ")[2] for text in numbers]
    label_mm = max(map(text_width_mm, names)) + 6
    columns_mm = [max(map(text_width_mm, texts)) + 4 for texts in (counts, numbers)]
    row_mm, bottom = 5.6, 11.0
    body = row_mm * len(rows)
    figure = new_figure(DOUBLE_MM, bottom + body + 2)
    width = DOUBLE_MM - label_mm - sum(columns_mm) - 8
    axes = axes_at(figure, label_mm, bottom, width, body)
    highest = rows[["estimate", "conf_high"]].astype(float).max().max()
    _percent_axis(axes, body, min(1.0, max(0.05, 1.05 * highest)), label)
    for k, (_, row) in enumerate(rows.iterrows()):
        y = (k + 0.5) * row_mm
        if not missing(row["conf_low"]):
            axes.plot([row["conf_low"], row["conf_high"]], [y] * 2, color=DARK, linewidth=1.1)
        if not missing(row["estimate"]):
            axes.plot(row["estimate"], y, marker="o", color=INK, markersize=4, clip_on=False, zorder=3)
        place = bottom + body - y
        _text(figure, 2, place, names[k], va="center")
        _text(figure, label_mm + width + 5, place, counts[k], va="center")
        _text(figure, label_mm + width + 5 + columns_mm[0], place, numbers[k], va="center")
    each = "; ".join(f"{name.lower()}: {n} {ci}".strip() for name, n, ci in zip(names, counts, numbers, strict=True))
    return Drawing(figure, f"{told}: {each}.")
