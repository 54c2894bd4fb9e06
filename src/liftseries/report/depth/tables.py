"""How deep was drilled: shares, deviations, agreement, the passes of worked cases."""

from __future__ import annotations

import pandas as pd

from liftseries.models.depth.limits import EFFECTIVE, REML, SITES
from liftseries.models.depth.perforation import AS_PLANNED
from liftseries.models.depth.shares import UNJUDGED
from liftseries.report.depth.sentences import has_log
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import methods_of, way_of
from liftseries.report.kit.numbers import count, decimal, p_value, share_of
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, design_effect, estimate, numbers
from liftseries.report.kit.words import (
    CANNOT_OCCUR,
    DEVIATIONS,
    ENDED,
    IMPOSSIBLE,
    Words,
    trace_of,
)
from liftseries.report.languages.say import say

PERFORATED = {f"{AS_PLANNED}=yes": "Drilled as planned", f"{AS_PLANNED}=no": "With a deviation"}
BY = {
    SITES: "Mean over the sites",
    EFFECTIVE: "The same, effective degrees of freedom",
    REML: "Linear mixed model",
}
FINDINGS = {"closed": "floor closed", "open": "floor open", "not_tested": ""}


def shares_table(material: Material, words: Words) -> Content | None:
    """How the drilling ended, how many sites were drilled as planned, perforations with and without a deviation."""
    parts = (
        ("How the drilling ended", "depth.ended", lambda row: ENDED.get(row["term"], row["term"])),
        ("Drilled as planned", "depth.adherence", lambda row: words.subset(row["subset"])),
        ("Perforated, of the sites", "depth.perforation", lambda row: PERFORATED[row["subset"]]),
    )
    rows, used = [], []
    for part, analysis, label in parts:
        found = _counted(material.rows(analysis))
        used.append(found)
        rows += [(part, *[""] * 5)] if len(found) else []
        rows += [
            (
                f"   {label(row)}",
                share_of(row["n_events"], row["n_sites"]),
                estimate(row),
                count(row["n_patients"]),
                design_effect(material, row),
                trace_of(row),
            )
            for _, row in found.iterrows()
        ]
    heads = ("", "Sites", "Share (95% interval)", "Patients", "Design effect", TRACE)
    return content_of(heads, rows, methods_of(pd.concat(used)))


def _counted(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows that rest on any site."""
    return rows[pd.to_numeric(rows["n_sites"]).fillna(0).ne(0)]


def deviations_table(material: Material, words: Words) -> Content | None:
    """Deviations from the drilling plan: how often, and how often nobody can tell."""
    table = _counted(material.rows("depth.deviations"))
    if table.empty:
        return None
    subsets = list(dict.fromkeys(table["subset"]))
    cells = {(row["term"], row["subset"]): row for _, row in table.iterrows()}
    rows = []
    for kind in DEVIATIONS:
        of_kind = [cells.get((f"{kind}{end}", subset)) for end in ("", UNJUDGED) for subset in subsets]
        if any(row is not None for row in of_kind):
            whole, unjudged = cells.get((kind, "all")), cells.get((f"{kind}{UNJUDGED}", "all"))
            rows.append(
                (
                    DEVIATIONS[kind],
                    _judged(cells, kind, "all"),
                    "" if whole is None else estimate(whole),
                    *(_judged(cells, kind, subset) for subset in subsets if subset != "all"),
                    "" if unjudged is None else count(unjudged["n_events"]),
                    "; ".join(trace_of(row) for row in of_kind if row is not None),
                )
            )
    heads = [subset.partition("=")[2].capitalize() for subset in subsets if subset != "all"]
    return content_of(
        ("Deviation", "All sites", "Share (95% interval)", *heads, "Cannot be judged", TRACE),
        rows,
        say("depth.note_deviations") if any(CANNOT_OCCUR in row for row in rows) else "",
    )


def _judged(cells: dict, kind: str, subset: str) -> str:
    if (kind, subset) in IMPOSSIBLE:
        return CANNOT_OCCUR
    row = cells.get((kind, subset))
    return "none judged" if row is None else share_of(row["n_events"], row["n_sites"])


def agreement_table(material: Material, words: Words, analysis: str, bias: str) -> Content | None:
    """Bias and limits of agreement, by each method; `bias` says less what."""
    found = material.rows(analysis)
    if found["estimate"].isna().all():
        return None
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
            BY.get(row["method"], way_of(row)),
            trace_of(row),
        )
        for _, row in found.iterrows()
    ]
    return content_of(
        ("", "mm (95% interval)", "p", "Design effect", "Sites", "Patients", "By", TRACE),
        rows,
        methods_of(found),
    )


def cases_passes(material: Material) -> pd.DataFrame:
    """The passes of the worked cases, and the platform depth that each was reckoned from, mm."""
    passes = material.table("ladder_cases").sort_values(["case", "step_no"])
    for column in ("length_mm", "stop_length_mm", "depth_mm"):
        passes[column] = pd.to_numeric(passes.get(column))
    passes["stop_length_mm"] = passes["stop_length_mm"].fillna(0.0)
    platform = passes["depth_mm"] - passes["length_mm"] + passes["stop_length_mm"]
    return passes.assign(platform_mm=platform.round(6) + 0.0)


def cases_table(material: Material, words: Words) -> Content | None:
    """The worked cases pass by pass: length less stop plus platform gives the depth."""
    if material.table("ladder_cases").empty or not has_log(material):
        return None
    rows = [
        (
            f"Case {int(step.case)}, {step.approach}, pass {int(step.step_no)}",
            step.role,
            *(_mm(value) for value in (step.length_mm, step.stop_length_mm, step.platform_mm, step.depth_mm)),
            FINDINGS.get(step.finding, str(step.finding)),
        )
        for step in cases_passes(material).itertuples(index=False)
    ]
    heads = ("Pass", "Instrument", "Length", "Stop takes off", "Platform depth", "Depth reached", "Found")
    return content_of(heads, rows, say("depth.note_cases"))


def _mm(value: float) -> str:
    return decimal(value, 1) if round(value, 1) == round(value, 6) else decimal(value)
