"""Adherence to the drilling plan, drawn: sites drilled as planned and each deviation, guided against freehand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, MaxNLocator

from liftseries.models.depth.shares import UNJUDGED
from liftseries.report.kit.figures.style import (
    DOUBLE_MM,
    LOOKS,
    PALE,
    SINGLE_MM,
    SMALL_PT,
    Drawing,
    Look,
    axes_at,
    drawn,
    new_figure,
    text_width_mm,
    wrapped,
)
from liftseries.report.kit.numbers import is_withheld, listed, missing, percent, share_of, short_count
from liftseries.report.kit.tables.cells import estimate
from liftseries.report.kit.words import CANNOT_OCCUR, DEVIATIONS, IMPOSSIBLE
from liftseries.report.languages.say import say

KEPT = "share"  # the term of depth.adherence
LINE_MM, GAP_MM, AXIS_MM, KEY_MM, EDGE_MM = 3.5, 1.9, 9.0, 6.0, 2.0
LABEL_MM, PANEL_MM = 44.0, 12.0  # a name beside its lines; the panel of what cannot be judged
SMALLEST_AXIS = 0.05


@dataclass(frozen=True)
class Line:
    """A line of the figure: one deviation at one approach.

    Attributes
    ----------
    look : of the approach
    row : of results.csv, None where it cannot occur or nothing was judged
    n : `22 of 305`, or why there is none
    share : `7.2% (4.8% to 10.7%)`
    unjudged, logs : sites whose log does not tell, of those with a log; 0 where that is withheld
    """

    look: Look
    row: pd.Series | None
    n: str
    share: str
    unjudged: int
    logs: int


@dataclass(frozen=True)
class Part:
    """A deviation, or the sites drilled as planned: its name and a line an approach."""

    name: str
    lines: tuple[Line, ...]

    def height_mm(self, narrow: bool) -> float:
        """With its name above the lines, or beside them."""
        n_name = wrapped(self.name, LABEL_MM - 4).count("\n") + 1
        n_lines = len(self.lines) + 1 if narrow else max(len(self.lines), n_name)
        return n_lines * LINE_MM + GAP_MM


@drawn
def draw_adherence(adherence: pd.DataFrame, deviations: pd.DataFrame, narrow: bool = False) -> Drawing | None:
    """Sites drilled as planned and sites with each deviation, of those judged, and hatched what cannot be judged.

    Parameters
    ----------
    adherence : rows of `depth.adherence`
    deviations : rows of `depth.deviations`
        Of the subsets those by approach are drawn, or `all` where there are none.
    narrow : in one column, each name above its lines
    """
    rows = pd.concat([adherence, deviations])
    rows = rows[pd.to_numeric(rows["n_sites"]).fillna(0).ne(0)]
    subsets = [subset for subset in rows["subset"].unique() if subset.startswith("approach=")] or ["all"]
    subsets.sort(key=lambda subset: subset != "approach=guided")
    rows_by = {(row["term"], row["subset"]): row for _, row in rows.iterrows()}
    parts = [_part(rows_by, kind, subsets) for kind in (KEPT, *DEVIATIONS)]
    kept, kinds = parts[0], [part for part in parts[1:] if part is not None]
    if kept is None or not kinds:
        return None
    levels = [subset.partition("=")[2] or "all sites" for subset in subsets]
    figure = _Sheet([kept, *kinds], narrow).drawn(levels)
    return Drawing(figure, say("depth.alt_adherence", rows=_told([kept, *kinds], levels)), _covers(rows_by))


def _part(rows_by: Mapping, kind: str, subsets: Sequence[str]) -> Part | None:
    """None where no site was judged or could have been."""
    lines = tuple(_line(rows_by, kind, subset, look) for subset, look in zip(subsets, LOOKS, strict=False))
    if all(line.row is None and not line.unjudged for line in lines):
        return None
    return Part(DEVIATIONS.get(kind, "Drilled as planned"), lines)


def _line(rows_by: Mapping, kind: str, subset: str, look: Look) -> Line:
    if (kind, subset) in IMPOSSIBLE:
        return Line(look, None, CANNOT_OCCUR, "", 0, 0)
    row = rows_by.get((kind, subset))
    unjudged, logs = _not_judged(rows_by, kind, subset)
    if row is None:
        return Line(look, None, "none judged", "", unjudged, logs)
    n = share_of(row["n_events"], row["n_sites"]).partition(" (")[0]
    if is_withheld(row["n_events"]) or is_withheld(row["n_sites"]):
        n = f"{short_count(row['n_events'])} of {short_count(row['n_sites'])}"
    return Line(look, row, n, "" if missing(row["estimate"]) else estimate(row), unjudged, logs)


def _not_judged(rows_by: Mapping, kind: str, subset: str) -> tuple[int, int]:
    """Sites whose log does not tell, and sites with a log; of those drilled as planned the logs that are not judged."""
    found = rows_by.get((f"{next(iter(DEVIATIONS)) if kind == KEPT else kind}{UNJUDGED}", subset))
    if found is None or is_withheld(found["n_sites"]):
        return 0, 0
    logs, n = int(found["n_sites"]), found["n_events"]
    if kind == KEPT:
        judged = rows_by.get((KEPT, subset))
        n = logs - int(judged["n_sites"]) if judged is not None and not is_withheld(judged["n_sites"]) else 0
    return (0, 0) if is_withheld(n) else (int(n), logs)


def _told(parts: Sequence[Part], levels: Sequence[str]) -> str:
    cells = [
        listed([f"{level} {line.n} {line.share}".strip() for level, line in zip(levels, part.lines, strict=True)])
        for part in parts
    ]
    return "; ".join(say("depth.alt_row", label=p.name, cells=c) for p, c in zip(parts, cells, strict=True))


def _covers(rows_by: Mapping) -> str:
    row = rows_by.get((f"{next(iter(DEVIATIONS))}{UNJUDGED}", "all"))
    return "" if row is None else say("depth.covers_log", sites=row["n_sites"], patients=row["n_patients"])


class _Sheet:
    """Where everything stands: names, the axis, counts, shares, the panel of what cannot be judged."""

    def __init__(self, parts: Sequence[Part], narrow: bool):
        self.kept, self.kinds, self.narrow = parts[0], parts[1:], narrow
        lines = [line for part in parts for line in part.lines]
        self.width = SINGLE_MM if narrow else DOUBLE_MM
        self.has_panel = any(line.unjudged for line in lines)
        numbers = max(text_width_mm(str(line.unjudged)) for line in lines) + 1 if self.has_panel else 0
        self.panel_left = self.width - EDGE_MM - numbers - PANEL_MM if self.has_panel else self.width - EDGE_MM
        share_mm = 0 if narrow else max(text_width_mm(line.share) for line in lines) + 5
        self.share_left = self.panel_left - share_mm
        self.n_left = self.share_left - max(text_width_mm(self.n_of(line)) for line in lines) - 4
        self.left = EDGE_MM + 1 if narrow else LABEL_MM
        self.axis_mm = self.n_left - 3 - self.left
        self.body = [sum(part.height_mm(narrow) for part in some) for some in ([self.kept], self.kinds)]
        self.height = KEY_MM + sum(self.body) + 2 * AXIS_MM + 3
        self.figure = new_figure(self.width, self.height)

    def n_of(self, line: Line) -> str:
        """Counts, in one column with the share, which has a column of its own in two."""
        if not self.narrow or line.row is None or missing(line.row["estimate"]):
            return line.n
        return f"{line.n} ({percent(line.row['estimate'])})"

    def drawn(self, levels: Sequence[str]):
        """The figure: above the sites drilled as planned, below the deviations, each on its own scale."""
        top = self.height - KEY_MM
        self._key(levels)
        self._block([self.kept], top, 1.0, "Drilled as planned, %")
        highest = pd.Series([self._end(line) for part in self.kinds for line in part.lines], dtype=float).max()
        most = SMALLEST_AXIS if missing(highest) else min(1.0, max(SMALLEST_AXIS, 1.06 * highest))
        self._block(self.kinds, top - self.body[0] - AXIS_MM, most, "With the deviation, %")
        return self.figure

    @staticmethod
    def _end(line: Line) -> float:
        """How far to the right a line reaches."""
        ends = [] if line.row is None else [line.row[name] for name in ("estimate", "conf_high")]
        return max((float(end) for end in ends if not missing(end)), default=float("nan"))

    def _block(self, parts: Sequence[Part], top: float, most: float, label: str) -> None:
        body = sum(part.height_mm(self.narrow) for part in parts)
        axes = self._axes(self.left, self.axis_mm, top, body, most, label)
        axes.xaxis.set_major_locator(MaxNLocator(4 if self.narrow else 5, steps=[1, 2, 5, 10]))
        panel = None
        if any(line.unjudged for part in parts for line in part.lines):
            panel = self._axes(self.panel_left, PANEL_MM, top, body, 1.0, "Cannot be\njudged, %")
            panel.set_xticks([0, 1], ["0", "100"])
        y = 0.0
        for part in parts:
            first = y + (LINE_MM if self.narrow else 0)
            name = part.name if self.narrow else wrapped(part.name, LABEL_MM - 4)
            self._text(EDGE_MM, top - y - 0.4, name, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3})
            for k, line in enumerate(part.lines):
                self._line(axes, panel, line, first + (k + 0.5) * LINE_MM, top)
            y += part.height_mm(self.narrow)
            for drawn_on in filter(None, (axes, panel)):
                drawn_on.axhline(y - GAP_MM / 2, color=PALE, linewidth=0.6, zorder=0)

    def _axes(self, left: float, width: float, top: float, body: float, most: float, label: str):
        axes = axes_at(self.figure, left, top - body, width, body)
        axes.set(ylim=(body, 0), xlim=(0, most), yticks=[])
        axes.grid(axis="x")
        axes.spines["left"].set_visible(False)
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
        axes.set_xlabel(label, labelpad=1.5)
        return axes

    def _line(self, axes, panel, line: Line, y: float, top: float) -> None:
        row, look = line.row, line.look
        if row is not None and not missing(row["estimate"]):
            if not missing(row["conf_low"]):
                limits = [row["conf_low"], row["conf_high"]]
                axes.plot(limits, [y] * 2, color=look.colour, linewidth=1.1, linestyle=look.line)
            mark = {"marker": look.marker, "color": look.colour, "markerfacecolor": look.face}
            axes.plot(row["estimate"], y, clip_on=False, zorder=3, **mark)
        self._text(self.n_left, top - y, self.n_of(line), va="center")
        if not self.narrow:
            self._text(self.share_left, top - y, line.share, va="center")
        if panel is not None and line.unjudged:
            box = {"facecolor": "white", "edgecolor": look.colour, "hatch": "/////", "lw": 0.6}
            panel.add_patch(Rectangle((0, y - 1.2), line.unjudged / line.logs, 2.4, **box))
            self._text(self.width - EDGE_MM, top - y, str(line.unjudged), va="center", ha="right")

    def _key(self, levels: Sequence[str]) -> None:
        x, y = self.left, self.height - KEY_MM / 2
        for level, look in zip(levels, LOOKS, strict=False):
            mark = {"marker": look.marker, "color": look.colour, "markerfacecolor": look.face, "linestyle": look.line}
            ends = [(x + k) / self.width for k in (0, 3.5, 7)]
            self.figure.add_artist(Line2D(ends, [y / self.height] * 3, markevery=[1], linewidth=1.1, **mark))
            self._text(x + 8.5, y, level, va="center")
            x += 8.5 + text_width_mm(level) + 6
        if not self.narrow:
            self._text(self.n_left, y, "Sites", va="center")
            self._text(self.share_left, y, "Share (95% interval)", va="center")

    def _text(self, x_mm: float, y_mm: float, text: str, **options) -> None:
        options = {"va": "top", "size": SMALL_PT, "linespacing": 1.2} | options
        self.figure.text(x_mm / self.width, y_mm / self.height, text, **options)
