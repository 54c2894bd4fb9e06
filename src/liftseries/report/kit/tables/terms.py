"""The terms of a model, alone and beside other ways to estimate them."""

from __future__ import annotations

from collections.abc import Sequence

from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by, methods_of
from liftseries.report.kit.numbers import NOT_ESTIMATED, WITHHELD, missing, p_value
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


def side_by_side_table(material: Material, words: Words, ways: Sequence[tuple[str, str, str]]) -> Content | None:
    """The same terms estimated in several ways, a way a column.

    Parameters
    ----------
    ways : heading, analysis and what its method begins with
        What a way could not estimate is numbered and told below the table.
    """
    columns = []
    for _, analysis, method in ways:
        rows = material.rows(analysis, "all")
        columns.append({row["term"]: row for _, row in rows[made_by(rows, method)].iterrows()})
    reasons: dict[str, int] = {}
    printed: list[tuple[str, ...]] = []
    holds: list[str] = []
    for term in dict.fromkeys(term for column in columns for term in column):
        rows = [column.get(term) for column in columns]
        named = next(row for row in rows if row is not None)
        cells = []
        for row in rows:
            if row is None:
                cells.append("")
            elif row["problem"] == WITHHELD:
                cells.append(WITHHELD)
            elif missing(row["estimate"]):
                cells.append(f"{NOT_ESTIMATED} ({reasons.setdefault(str(row['problem']), len(reasons) + 1)})")
            else:
                cells.append(f"{estimate(row)}, p {p_value(row['p_value'])}")
        holds += [trace_of(row) for row in rows if row is not None]
        printed.append((words.term(term, str(named["note"])), *cells, term))
    names = ", ".join(dict.fromkeys(analysis for _, analysis, _ in ways))
    note = " ".join(
        [*(f"({n}) {reason}." for reason, n in reasons.items()), f"Rows of results.csv: {names}, subset all."]
    )
    heads = ("Term", *(heading for heading, _, _ in ways), "term in results.csv")
    return content_of(heads, printed, note, holds)
