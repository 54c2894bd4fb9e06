"""Estimates as a plain list: any analyses, a row an estimate; and those behind a figure."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pandas as pd

from liftseries.report.kit.declarations import Figure
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, p_value
from liftseries.report.kit.quoted import below_gate, quoted_in
from liftseries.report.kit.tables.cells import TRACE, Content, Display, content_of, design_effect, estimate, numbers
from liftseries.report.kit.tables.cut import cut
from liftseries.report.kit.tables.making import without_untold
from liftseries.report.kit.words import trace_of


def listing_table(
    material: Material,
    rows: pd.DataFrame,
    labels: Sequence[tuple[str, Callable]],
    value: str,
    note: str = "",
) -> Content | None:
    """Rows of results.csv one under another.

    Parameters
    ----------
    rows : of results.csv
    labels : heading and what a row says under it
    value : heading of the estimate
        Columns for p, events and design effects stand where any row has one.
    """
    optional = {
        "p": ("p_value", p_value),
        "Events": ("n_events", count),
    }
    shown = {heading: cell for heading, cell in optional.items() if len(rows) and rows[cell[0]].notna().any()}
    effects = [design_effect(material, row) for _, row in rows.iterrows()]
    printed = [
        (
            *(label(row) for _, label in labels),
            estimate(row),
            *(write(row[column]) for column, write in shown.values()),
            *([effect] if any(effects) else []),
            *numbers(row),
            trace_of(row),
        )
        for (_, row), effect in zip(rows.iterrows(), effects, strict=True)
    ]
    effect_head = ["Design effect"] if any(effects) else []
    heads = (*(heading for heading, _ in labels), value, *shown, *effect_head, "Sites", "Patients", TRACE)
    return content_of(heads, printed, note)


def rows_behind(material: Material, figure: Figure, quoted_alone: bool) -> Display | None:
    """The rows of results.csv that a figure reads, as far as they may be printed, or those that are quoted; or None."""
    analyses = [source.removeprefix("results:") for source in figure.reads.values() if source.startswith("results:")]
    rows = material.results[material.results["analysis"].isin(analyses) & material.results["estimate"].notna()]
    rows = quoted_in(rows) if quoted_alone else rows[~below_gate(rows)]
    labels = (
        ("Group", lambda row: material.words.subset(row["subset"])),
        ("Estimate of", lambda row: material.words.term(row["term"], str(row["note"]))),
    )
    content = listing_table(material, rows, labels, "Estimate (95% interval)")
    content = without_untold(content) if content and material.withheld else content
    return cut(Display(f"{figure.name}_rows", "", **vars(content)), "results.csv") if content else None
