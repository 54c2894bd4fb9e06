"""What stands behind each indicator of the whole series: counted, unknown, not applicable, not due."""

from __future__ import annotations

import pandas as pd

from liftseries.report.audit.indicators import ALL, title
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
    wrapped,
)
from liftseries.report.languages.say import say

STATES = (
    ("counted", DARK, ""),
    ("unknown", MID, "////"),
    ("not_applicable", "#f4f2ee", ""),
    ("not_due", LIGHT, "...."),
)
ROW_MM, KEY_MM, FOOT_MM, LABEL_MM, NARROW_LABEL_MM, EDGE_MM = 5.6, 7.0, 10.0, 62.0, 34.0, 2.0


@drawn
def draw_audit_strips(strips: pd.DataFrame, narrow: bool = False) -> Drawing | None:
    """A bar an indicator, as shares of all that it could count.

    Parameters
    ----------
    strips : `audit_indicator_strips`
    narrow : at the width of one column
    """
    rows = strips[strips["unit"].eq(ALL) & strips["counts"].ne("cases")]
    totals = rows[[name for name, _, _ in STATES]].astype(float).sum(axis=1)
    rows, totals = rows[totals.gt(0)], totals[totals.gt(0)]
    if rows.empty:
        return None
    width_mm = SINGLE_MM if narrow else DOUBLE_MM
    labels = [wrapped(title(rows, term), NARROW_LABEL_MM if narrow else LABEL_MM) for term in rows["indicator"]]
    row_mm = ROW_MM + (3.2 if any("\n" in label for label in labels) else 0)
    label_mm = max(map(text_width_mm, labels)) + 2
    key_mm = KEY_MM * (2 if narrow else 1)
    height_mm = FOOT_MM + row_mm * len(rows) + key_mm
    figure = new_figure(width_mm, height_mm)
    axes = axes_at(figure, EDGE_MM + label_mm, FOOT_MM, width_mm - label_mm - 3 * EDGE_MM, row_mm * len(rows))
    start = pd.Series(0.0, index=rows.index)
    y = list(range(len(rows)))
    for name, colour, hatch in STATES:
        share = rows[name].astype(float) / totals
        axes.barh(
            y,
            share,
            left=start,
            height=0.62,
            facecolor=colour,
            hatch=hatch,
            edgecolor=INK,
            linewidth=0.4,
            label=say(f"audit.head_{name}"),
        )
        start += share
    axes.set(
        xlim=(0, 1),
        ylim=(len(rows) - 0.5, -0.5),
        xticks=[0, 0.25, 0.5, 0.75, 1],
        xticklabels=["0", "25", "50", "75", "100"],
    )
    axes.set_yticks(y, labels)
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel(say("audit.axis_share"))
    figure.legend(
        loc="upper left", ncol=2 if narrow else 4, bbox_to_anchor=(0.0, 1.0), borderaxespad=0.3, handlelength=1.6
    )
    told = [
        say("audit.alt_strip", indicator=title(rows, row["indicator"]), counted=int(row["counted"]), n=int(total))
        for (_, row), total in zip(rows.iterrows(), totals, strict=True)
    ]
    return Drawing(figure, say("audit.alt_strips", told="; ".join(told)))
