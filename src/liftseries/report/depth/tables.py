"""How deep was drilled: deviations, agreement."""

from __future__ import annotations

from liftseries.report.kit.material import Material
from liftseries.report.kit.method import methods_of
from liftseries.report.kit.numbers import p_value, share_of
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, design_effect, estimate, numbers
from liftseries.report.kit.words import CANNOT_OCCUR, DEVIATIONS, IMPOSSIBLE, Words, trace_of


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
    heads = ["All" if s == "all" else s.partition("=")[2].capitalize() for s in subsets]
    return content_of(
        ("Deviation", *heads),
        rows,
        "Judged from the drilling log; whether a gauge depth differs needs a gauge pass.",
    )


def _judged(cell, kind: str, subset: str) -> str:
    if (kind, subset) in IMPOSSIBLE:
        return CANNOT_OCCUR
    return share_of(cell.n_true, cell.n_sites) if cell is not None and cell.n_sites else "none judged"


def agreement_table(material: Material, words: Words) -> Content | None:
    """Bias and limits of agreement of the last depth."""
    names = {
        "bias": "Bias, achieved less planned",
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
            trace_of(row),
        )
        for _, row in material.rows("depth.agreement").iterrows()
    ]
    return content_of(
        ("", "mm (95% interval)", "p", "Design effect", "Sites", "Patients", TRACE),
        rows,
        methods_of(material.rows("depth.agreement")),
    )
