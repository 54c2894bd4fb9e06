"""The terms of a model, alone and beside other ways to estimate them."""

from __future__ import annotations

from liftseries.report.kit.material import Material
from liftseries.report.kit.method import methods_of
from liftseries.report.kit.numbers import p_value
from liftseries.report.kit.tables.cells import (
    RATIO_SCALES,
    TRACE,
    Content,
    content_of,
    design_effect,
    estimate,
    numbers,
)
from liftseries.report.kit.words import SCALES, Words, trace_of


def terms_table(material: Material, words: Words, analysis: str) -> Content | None:
    """The terms of a model; logarithms turned into ratios."""
    model = material.rows(analysis)
    if model.empty:
        return None
    scale = str(model["scale"].iloc[0])
    events = scale in RATIO_SCALES
    effects = any(design_effect(material, row) for _, row in model.iterrows())
    rows = [
        (
            words.term(row["term"], str(row["note"])),
            estimate(row),
            p_value(row["p_value"]),
            *([design_effect(material, row)] if effects else []),
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
        *(["Design effect"] if effects else []),
        "Sites",
        "Patients",
    )
    note = methods_of(model)
    if events and "(intercept)" in set(model["term"]):
        note += " The intercept is the odds where every number is 0 and every label at its reference."
    return content_of((*heads, *(["Events"] if events else []), TRACE), rows, note)
