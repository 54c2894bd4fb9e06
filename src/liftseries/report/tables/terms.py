"""The terms of a model."""

from __future__ import annotations

from liftseries.report.material import Material
from liftseries.report.numbers import p_value
from liftseries.report.tables.cells import (
    RATIO_SCALES,
    TRACE,
    Display,
    estimate,
    methods_of,
    numbers,
    table_of,
    trace_of,
)
from liftseries.report.wording import SCALES, Words


def terms_table(material: Material, words: Words, analysis: str, name: str, caption: str) -> Display | None:
    """The terms of a model; logarithms turned into ratios."""
    model = material.rows(analysis)
    if model.empty:
        return None
    scale = str(model["scale"].iloc[0])
    events = scale in RATIO_SCALES
    rows = [
        (
            words.term(row["term"], str(row["method"])),
            estimate(row),
            p_value(row["p_value"]),
            *numbers(row, events),
            trace_of(row),
        )
        for _, row in model.iterrows()
    ]
    word = SCALES.get(scale, scale)
    heads = (
        "Term",
        f"{word[0].upper() + word[1:] if events else word} (95% interval)",
        "p",
        "Sites",
        "Patients",
    )
    note = methods_of(model)
    if events and "(intercept)" in set(model["term"]):
        note += " The intercept is the odds where every number is 0 and every label at its reference."
    return table_of(name, caption, (*heads, *(["Events"] if events else []), TRACE), rows, note)
