"""How deep was drilled: deviations, agreement."""

from __future__ import annotations

import pandas as pd

from liftseries.report.kit.material import Material
from liftseries.report.kit.method import methods_of, way_of
from liftseries.report.kit.numbers import count, p_value, share_of
from liftseries.report.kit.sentences import small
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, design_effect, estimate, numbers
from liftseries.report.kit.words import (
    CANNOT_OCCUR,
    DEVIATIONS,
    ENDED,
    IMPOSSIBLE,
    JUDGED_FROM,
    NOT_JUDGED,
    Words,
    trace_of,
)


def deviations_table(material: Material, words: Words) -> Content | None:
    """Deviations from the drilling plan by kind and approach."""
    table = material.table("deviations")
    if table.empty:
        return None
    subsets = list(dict.fromkeys(table["subset"]))
    cells = {(r.deviation, r.subset): r for r in table.itertuples(index=False)}
    rows = [
        (
            f"{DEVIATIONS.get(kind, kind)} ({kind})",
            *(_judged(cells.get((kind, subset)), kind, subset) for subset in subsets),
        )
        for kind in dict.fromkeys(table["deviation"])
    ]
    judged_from = "; ".join(f"{small(DEVIATIONS[kind])}: {words}" for kind, words in JUDGED_FROM.items())
    heads = ["All" if s == "all" else s.partition("=")[2].capitalize() for s in subsets]
    return content_of(
        ("Deviation", *heads),
        rows,
        f"What must be recorded for each to be judged. {judged_from}. Rows of results.csv, with intervals: "
        "depth.deviations, term the deviation, and `not judged` after it.",
        [trace_of(row) for _, row in material.rows("depth.deviations").iterrows()],
    )


def _judged(cell, kind: str, subset: str) -> str:
    if (kind, subset) in IMPOSSIBLE:
        return CANNOT_OCCUR
    if cell is None:
        return "no log"
    judged = share_of(cell.n_true, cell.n_sites) if cell.n_sites else "none judged"
    return judged + (f"; {count(cell.n_not_judged)} {NOT_JUDGED}" if cell.n_not_judged else "")


def agreement_table(material: Material, words: Words, analysis: str, bias: str) -> Content | None:
    """Bias and limits of agreement, by each method; `bias` says less what."""
    found = material.rows(analysis)
    names = {
        "bias": bias,
        "low": "Lower limit of agreement",
        "high": "Upper limit of agreement",
    }
    rows = [
        (
            names.get(row["term"], row["term"]),
            estimate(row),
            p_value(row["p_value"]),
            design_effect(material, row),
            *numbers(row),
            way_of(row).partition(";")[0].partition(",")[0],
            trace_of(row),
        )
        for _, row in found.iterrows()
    ]
    return content_of(
        ("", "mm (95% interval)", "p", "Design effect", "Sites", "Patients", "By", TRACE),
        rows,
        methods_of(found),
    )


def shares_table(material: Material, words: Words) -> Content | None:
    """How the drilling ended, and how many sites were drilled as planned."""
    ended, kept = material.rows("depth.ended"), material.rows("depth.adherence")
    named = [(ENDED.get(row["term"], row["term"]), row) for _, row in ended.iterrows()]
    named += [(f"Drilled as planned: {small(words.subset(row['subset']))}", row) for _, row in kept.iterrows()]
    rows = [
        (
            name,
            share_of(row["n_events"], row["n_sites"]),
            estimate(row),
            count(row["n_patients"]),
            design_effect(material, row),
            trace_of(row),
        )
        for name, row in named
    ]
    return content_of(
        ("", "Sites", "Share (95% interval)", "Patients", "Design effect", TRACE),
        rows,
        methods_of(pd.concat([ended, kept])),
    )
