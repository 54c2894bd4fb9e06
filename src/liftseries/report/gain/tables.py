"""What bone was gained: gain and marginal bone at the plan's months, the models' terms, torque and stability."""

from __future__ import annotations

import pandas as pd

from liftseries.models.gain.marginal import FAR_MM
from liftseries.report.gain.quoted import (
    BEYOND,
    GAIN,
    ISQ,
    MARGINAL,
    MEAN,
    OUTCOMES,
    TORQUE,
    is_difference,
    month_of,
    named,
)
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by
from liftseries.report.kit.numbers import NOT_ESTIMATED, WITHHELD, count, decimal, interval, missing, p_value
from liftseries.report.kit.quoted import printable
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, design_effect, estimate, numbers
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.languages.say import say

MOST_MONTHS = 6  # as columns; beyond, the months are rows
AT_MONTHS = {
    GAIN: {MEAN: "Bone gain, mean, mm"},
    MARGINAL: {
        MEAN: "Marginal bone below platform, mean, mm",
        BEYOND: f"More than {FAR_MM:g} mm below platform",
    },
}
STABILITY = {TORQUE: "Torque", ISQ: "ISQ"}
UNITS = {TORQUE: "Torque, N cm", ISQ: "ISQ"}


def bone_at_months_table(material: Material, words: Words) -> Content | None:
    """Mean gain and marginal bone level, and share beyond 2 mm, at the plan's months, and of how many."""
    rows = material.results[material.results["analysis"].isin(OUTCOMES) & material.results["method"].eq("patients")]
    rows = printable(rows)
    lines: dict[str, dict[float, str]] = {}  # label -> month -> cell
    keys: dict[str, list[str]] = {}
    for analysis, quantities in AT_MONTHS.items():
        counts = {}
        for what, label in quantities.items():
            of_what = rows[rows["analysis"].eq(analysis) & rows["term"].astype(str).str.startswith(what)]
            for _, row in of_what.iterrows():
                month = month_of(row["term"])
                lines.setdefault(label, {})[month] = _quoted_cell(row)
                keys.setdefault(label, []).append(trace_of(row))
                counts[month] = " / ".join(numbers(row))
        if counts:
            lines[f"   {OUTCOMES[analysis]}: sites / patients"] = counts
    months = sorted({month for cells in lines.values() for month in cells})
    note = say("gain.at_months_note")
    if len(months) > MOST_MONTHS:
        printed = [(f"{month:g}", *(cells.get(month, "") for cells in lines.values())) for month in months]
        holds = [key for of_label in keys.values() for key in of_label]
        return content_of(("Months", *(label.strip() for label in lines)), printed, note, holds)
    printed = [
        (label, *(cells.get(month, "") for month in months), "; ".join(keys.get(label, ())))
        for label, cells in lines.items()
    ]
    return content_of(("", *(f"{month:g} months" for month in months), TRACE), printed, note)


def _quoted_cell(row) -> str:
    """The estimate with its interval; of fewer than five measurements that they are too few."""
    if not missing(row["estimate"]) and not row["headline"]:
        return "fewer than 5 measurements"
    return estimate(row)


def bone_methods_table(material: Material, words: Words) -> Content | None:
    """The terms of both models and the change per year, and beside them the models' own intervals."""
    models = material.results[material.results["analysis"].isin(OUTCOMES) & material.results["subset"].eq("all")]
    models = printable(models)
    own = {(row["analysis"], row["term"]): row for _, row in models[made_by(models, "reml")].iterrows()}
    printed, holds = [], []
    for _, row in models[made_by(models, "corrected")].iterrows():
        beside = own.get((row["analysis"], row["term"]))
        keys = [trace_of(one) for one in (row, beside) if one is not None]
        if not is_difference(pd.Series([row["term"]]))[0]:
            holds += keys  # the intercept; the change per month, told by the year
            continue
        cells = estimate(row), p_value(row["p_value"]), "" if beside is None else estimate(beside)
        label = (OUTCOMES[row["analysis"]], named(row, words))
        printed.append((*label, *cells, design_effect(material, row), *numbers(row), "; ".join(keys)))
    heads = (
        "Outcome", "Term", "mm (95% interval)", "p", "Model's own interval", "Design effect", "Sites", "Patients",
        TRACE,
    )  # fmt: skip
    return content_of(heads, printed, say("gain.terms_note"), holds)


def stability_table(material: Material, words: Words) -> Content | None:
    """Insertion torque and ISQ by bone quality and residual height."""
    rows = material.results[material.results["analysis"].isin(STABILITY)]
    rows = rows[pd.to_numeric(rows["n_sites"]).fillna(0).ne(0)]
    rows = rows if rows["estimate"].notna().any() else rows.iloc[:0]
    of_analyses = [name for name in STABILITY if rows["analysis"].eq(name).any()]
    heads = [head for name in of_analyses for head in _stability_heads(name)]
    printed = []
    for subset, of_subset in rows.groupby("subset", sort=False):
        cells, keys = [], [trace_of(row) for _, row in of_subset.iterrows()]
        for name in of_analyses:
            of_analysis = of_subset[of_subset["analysis"].eq(name)]
            cells += _described({row["term"]: row for _, row in of_analysis.iterrows()})
        printed.append((words.subset(str(subset)), *cells, "; ".join(keys)))
    return content_of(("", *heads, TRACE), printed, say("gain.stability_note"))


def _stability_heads(analysis: str) -> tuple[str, str, str]:
    unit = UNITS[analysis]
    return f"{STABILITY[analysis]}: sites", f"{unit}: mean (95% interval), SD", f"{unit}: median [quartiles]"


def _described(of_term: dict) -> tuple[str, str, str]:
    """Number measured, mean with interval and SD, median with quartiles."""
    if not of_term:
        return "", "", ""
    mean, median = of_term["mean"], of_term["median"]
    if not median["headline"]:
        return count(mean["n_sites"]), "", ""
    return count(mean["n_sites"]), _mean(mean, of_term["sd"]), _median(median, of_term["q1"], of_term["q3"])


def _mean(mean, sd) -> str:
    if missing(mean["estimate"]):
        return WITHHELD if mean["problem"] == WITHHELD else NOT_ESTIMATED
    text = interval(mean["estimate"], mean["conf_low"], mean["conf_high"], _one_decimal)
    return text + ("" if missing(sd["estimate"]) else f", {_one_decimal(sd['estimate'])}")


def _median(median, q1, q3) -> str:
    if missing(median["estimate"]):
        return WITHHELD
    known = not (missing(q1["estimate"]) or missing(q3["estimate"]))
    quartiles = f" [{_one_decimal(q1['estimate'])} to {_one_decimal(q3['estimate'])}]" if known else ""
    return _one_decimal(median["estimate"]) + quartiles


def _one_decimal(value: float) -> str:
    return decimal(value, 1)
