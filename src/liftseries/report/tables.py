"""Estimates and counts as tables for reading: rounded, in words, and traceable to results.csv.

Each table is written as CSV and DOCX. Whatever results.csv holds stands in one of them, its row named in the
last column; what could not be estimated stands there with its problem.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import pandas as pd

from liftseries.report.material import Material
from liftseries.report.numbers import (
    NOT_ESTIMATED,
    count,
    decimal,
    exponent,
    interval,
    missing,
    p_value,
    percent,
    ratio,
    share_of,
)
from liftseries.report.wording import BANDS, CANNOT_OCCUR, DEVIATIONS, IMPOSSIBLE, SCALES, Words, trace

TRACE = "results.csv row"
RATE_METHODS = ("cluster", "wilson", "exact")
RATIO_SCALES = ("log_odds", "log_hazard")
PERCENT_SCALES = ("risk", "probability")


@dataclass(frozen=True)
class Display:
    """A table as it is printed.

    Attributes
    ----------
    name : of its files
    caption : one sentence
    columns : headings
    rows : texts, as many in each as there are headings; the first one names the row
    note : what stands below
    """

    name: str
    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


def displays(material: Material) -> dict[str, Display]:
    """Every table of the report that has rows, by name, in reading order."""
    words = Words(material.plan.get("extra_columns") or {})
    made = [
        flow_table(material),
        set_aside_table(material),
        characteristics_table(material, words),
        missing_table(material, words),
        deviations_table(material),
        agreement_table(material),
        perforation_rate_table(material, words),
        terms_table(
            material,
            words,
            "perforation.gee",
            "perforation_odds",
            "Odds ratios of a perforation, sites clustered in patients.",
        ),
        survival_table(material, words),
        numbers_at_risk_table(material, words),
        life_table_table(material),
        terms_table(
            material,
            words,
            "survival.cox",
            "hazard_ratios",
            "Hazard ratios of implant failure, implants clustered in patients.",
        ),
        complications_table(material),
        terms_table(material, words, "gain.mixed", "gain_terms", "Differences in bone gain, mm, by term."),
        gain_scatter_table(material),
        other_estimates_table(material, words),
        left_out_table(material, words),
    ]
    return {table.name: table for table in made if table is not None}


# ── who is in the study ─────────────────────────────────────────────────────────────────────────────────────


def flow_table(material: Material) -> Display | None:
    """Patients and sites at each stage and in each analysis."""
    rows = [
        (
            str(row["stage"]).capitalize() if "." not in str(row["stage"]) else str(row["stage"]),
            count(row["n_patients"]),
            count(row["n_sites"]),
        )
        for _, row in material.flow.iterrows()
    ]
    return _table(
        "flow", "Patients and sites at each stage and in each analysis.", ("Stage", "Patients", "Sites"), rows
    )


def set_aside_table(material: Material) -> Display | None:
    """How many rows were refused, by table, column and rule."""
    refused = material.set_aside
    if refused.empty:
        return None
    refused = refused.fillna({"column": ""}).drop_duplicates(["table", "file", "row", "column", "rule"])
    counts = refused.groupby(["table", "column", "rule"], sort=True).size()
    rows = [(table, column, str(rule).replace("_", " "), count(n)) for (table, column, rule), n in counts.items()]
    return _table(
        "set_aside",
        "Rows set aside, by table, column and rule.",
        ("Table", "Column", "Rule", "Rows"),
        rows,
        "A row can break more than one rule. set_aside.csv lists each row with its message.",
    )


def characteristics_table(material: Material, words: Words) -> Display | None:
    """Patients and sites, overall and by group: n (%), or mean (SD) and median [quartiles]."""
    table = material.characteristics
    if table.empty:
        return None
    subsets = list(dict.fromkeys(table["subset"]))
    cells = {(r.unit, r.column, r.level, r.subset): r for r in table.itertuples(index=False)}
    rows: list[tuple[str, ...]] = []
    for unit, column in dict.fromkeys(zip(table["unit"], table["column"], strict=True)):
        levels = list(dict.fromkeys(table.loc[table["unit"].eq(unit) & table["column"].eq(column), "level"]))
        found = [[cells.get((unit, column, level, subset)) for subset in subsets] for level in levels]
        of_unit = {"patient": "patients", "site": "sites"}.get(unit, f"{unit}s")
        unit_text = words.unit(column)
        name = words.column(column) + (f", {unit_text}" if unit_text else "")
        if levels == [""]:
            rows.append(
                (
                    f"{name} ({of_unit})",
                    *(_number_cell(cell, 2 if unit_text == "mm" else 1) for cell in found[0]),
                )
            )
        else:
            rows.append((f"{name} ({of_unit})", *([""] * len(subsets))))
            for level, cells_of_level in zip(levels, found, strict=True):
                if any(cell is not None and cell.n for cell in cells_of_level):
                    shown = [_level_cell(cell) for cell in cells_of_level]
                    rows.append((f"   {level.replace('_', ' ')}", *shown))
        absent = [next((row[k].n_missing for row in found if row[k] is not None), 0) for k in range(len(subsets))]
        if any(absent):
            rows.append(("   missing", *(count(n) for n in absent)))
    heads = ["All" if subset == "all" else words.subset(subset) for subset in subsets]
    return _table(
        "characteristics",
        "Patients and sites, overall and by group.",
        ("Characteristic", *heads),
        rows,
        "Numbers: mean (SD), median [quartiles]. Labels: n (% of those known). A patient with sites in two "
        "groups counts in both.",
    )


def _number_cell(cell, digits: int) -> str:
    if cell is None or not cell.n or missing(cell.mean):
        return "none known"
    mean, sd, median, q1, q3 = (decimal(value, digits) for value in (cell.mean, cell.sd, cell.median, cell.q1, cell.q3))
    return f"{mean}{f' ({sd})' if sd else ''}, {median} [{q1} to {q3}]"


def _level_cell(cell) -> str:
    if cell is None:
        return "0"
    return f"{count(cell.n)}" + (f" ({percent(cell.share)})" if not missing(cell.share) else "")


def missing_table(material: Material, words: Words) -> Display | None:
    """Empty or `unknown` values by column and centre; columns without any are left out and counted."""
    table = material.missing
    if table.empty:
        return None
    subsets = list(dict.fromkeys(table["subset"]))
    cells = {(r.column, r.subset): r for r in table.itertuples(index=False)}
    columns = list(dict.fromkeys(table["column"]))
    with_gaps = [c for c in columns if any((c, s) in cells and cells[c, s].n_missing for s in subsets)]
    rows = [(words.column(column), *(_gap(cells.get((column, subset))) for subset in subsets)) for column in with_gaps]
    heads = ["All" if subset == "all" else words.subset(subset) for subset in subsets]
    n_full = len(columns) - len(with_gaps)
    note = f"Empty or unknown of all; {n_full} of {len(columns)} columns looked at have no gap and are not listed."
    return _table("missing", "Missing values by column and centre.", ("Column", *heads), rows, note)


def _gap(cell) -> str:
    return share_of(cell.n_missing, cell.n) if cell is not None else ""


# ── how deep was drilled ────────────────────────────────────────────────────────────────────────────────────


def deviations_table(material: Material) -> Display | None:
    """Deviations from the drilling plan by kind and approach."""
    table = material.deviations
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
    return _table(
        "deviations",
        "Sites that show a deviation, of the sites where it could be judged.",
        ("Deviation", *heads),
        rows,
        "Judged from the drilling log; whether a gauge depth differs needs a gauge pass.",
    )


def _judged(cell, kind: str, subset: str) -> str:
    if (kind, subset) == IMPOSSIBLE:
        return CANNOT_OCCUR
    return share_of(cell.n_true, cell.n_sites) if cell is not None and cell.n_sites else "none judged"


def agreement_table(material: Material) -> Display | None:
    """Bias and limits of agreement of the last depth."""
    names = {
        "bias": "Bias, achieved less planned",
        "low": "Lower limit of agreement",
        "high": "Upper limit of agreement",
    }
    rows = [
        (
            names.get(row["term"], row["term"]),
            _estimate(row),
            p_value(row["p_value"]),
            *_numbers(row),
            _trace(row),
        )
        for _, row in material.rows("depth.agreement").iterrows()
    ]
    return _table(
        "depth_agreement",
        "Agreement of the last drilled depth with the planned one, mm; positive is deeper than planned.",
        ("", "mm (95% interval)", "p", "Sites", "Patients", TRACE),
        rows,
        _methods(material.rows("depth.agreement")),
    )


# ── what happened to the membrane, the implants and the bone ────────────────────────────────────────────────


def perforation_rate_table(material: Material, words: Words) -> Display | None:
    """Every rate with each of its intervals, a subset a row."""
    rows = []
    for subset, table in material.rows("perforation.rate").groupby("subset", sort=False):
        of_method = {row["method"]: row for _, row in table.iterrows()}
        one = table.iloc[0]
        rows.append(
            (
                words.subset(subset),
                share_of(one["n_events"], one["n_sites"]),
                count(one["n_patients"]),
                *(_estimate(of_method[method]) if method in of_method else "" for method in RATE_METHODS),
                trace(
                    "perforation.rate",
                    subset,
                    one["term"],
                    " ".join(m for m in RATE_METHODS if m in of_method),
                ),
            )
        )
    return _table(
        "perforation_rate",
        "Share of sites whose membrane was perforated, with 95% intervals.",
        ("Sites", "Perforated", "Patients", "Clustered by patient", "Wilson", "Exact", TRACE),
        rows,
        "Sites whose perforation is unknown are left out and counted under what was left out. The "
        "clustered estimate weighs sites by how alike those of one patient are, so that it can differ from "
        "the crude share; Wilson and exact take sites as independent.",
    )


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
            _estimate(row),
            p_value(row["p_value"]),
            *_numbers(row, events),
            _trace(row),
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
    note = _methods(model)
    if events and "(intercept)" in set(model["term"]):
        note += " The intercept is the odds where every number is 0 and every label at its reference."
    return _table(name, caption, (*heads, *(["Events"] if events else []), TRACE), rows, note)


def survival_table(material: Material, words: Words) -> Display | None:
    """Kaplan-Meier survival at the plan's months."""
    rows = [
        (_implants(row["subset"], words), row["term"], _estimate(row), *_numbers(row, True), _trace(row))
        for _, row in material.rows("survival.km").iterrows()
    ]
    return _table(
        "survival",
        "Implant survival (Kaplan-Meier) at the months of the plan.",
        (
            "Implants",
            "Month",
            "% in function (95% interval)",
            "Implants followed",
            "Patients",
            "Failures in all",
            TRACE,
        ),
        rows,
        _methods(material.rows("survival.km")),
    )


def _implants(subset: str, words: Words) -> str:
    return "All implants" if subset == "all" else words.subset(subset)


def numbers_at_risk_table(material: Material, words: Words) -> Display | None:
    """At risk, failed and censored, a month a row and a subset a column."""
    table = material.at_risk
    if table.empty:
        return None
    subsets = list(dict.fromkeys(table["subset"]))
    cells = {
        (r.months, r.subset): f"{count(r.n_at_risk)} / {count(r.n_failed)} / {count(r.n_censored)}"
        for r in table.itertuples(index=False)
    }
    rows = [
        (f"{month:g}", *(cells.get((month, subset), "") for subset in subsets))
        for month in sorted(set(table["months"]))
    ]
    return _table(
        "numbers_at_risk",
        "Implants at risk just before each month / failed before it / censored before it.",
        ("Month", *(_implants(subset, words) for subset in subsets)),
        rows,
    )


def life_table_table(material: Material) -> Display | None:
    """The yearly actuarial life table."""
    estimates = {float(row["term"]): row for _, row in material.rows("survival.life_table").iterrows()}
    rows = []
    for _, year in material.life_table.iterrows():
        row = estimates.pop(float(year["start_months"]), None)
        rows.append(
            (
                f"{year['start_months']:g} to <{year['end_months']:g}",
                count(year["n_entering"]),
                count(year["n_censored"]),
                count(year["n_failed"]),
                decimal(year["n_effective"], 1),
                percent(year["risk"]),
                _estimate(row) if row is not None else percent(year["survival"]),
                _trace(row) if row is not None else "",
            )
        )
    rows += [(f"from {month:g}", "", "", "", "", "", _estimate(row), _trace(row)) for month, row in estimates.items()]
    return _table(
        "life_table",
        "Yearly actuarial life table of the implants.",
        (
            "Months",
            "Entering",
            "Censored",
            "Failed",
            "Effective",
            "Risk in it",
            "% in function at its start (95% interval)",
            TRACE,
        ),
        rows,
        "An implant censored within a year counts as at "
        "risk for half of it. " + _methods(material.rows("survival.life_table")),
    )


def complications_table(material: Material) -> Display | None:
    """Sites that ever had a complication, by kind."""
    if material.complications.empty or not material.complications["n_asked"].max():
        return None
    rows = [
        (
            str(row["complication"]).capitalize(),
            share_of(row["n_sites"], row["n_asked"]),
            count(row["n_patients"]),
        )
        for _, row in material.complications.iterrows()
    ]
    return _table(
        "complications",
        "Sites that ever had a complication, of the sites with one or none recorded at any visit.",
        ("Complication", "Sites", "Patients"),
        rows,
    )


def gain_scatter_table(material: Material) -> Display | None:
    """How much bone gain differs between patients, sites and measurements."""
    if material.gain_variances.empty or not material.gain_variances["n_visits"].iloc[0]:
        return None
    row = material.gain_variances.iloc[0]
    names = {
        "patient_sd_mm": "Between patients",
        "site_sd_mm": "Between sites of a patient",
        "residual_sd_mm": "Between measurements of a site",
    }
    rows = [(text, decimal(row[name]) or "not in the model") for name, text in names.items()]
    note = (
        f"From {count(row['n_visits'])} measurements; models/gain_variances.csv."
        if not missing(row["n_visits"])
        else ""
    )
    return _table("gain_scatter", "Scatter of the bone gain, standard deviations.", ("", "mm"), rows, note)


COVERED = (
    "perforation.rate",
    "perforation.gee",
    "survival.km",
    "survival.life_table",
    "survival.cox",
    "gain.mixed",
    "depth.agreement",
)


def other_estimates_table(material: Material, words: Words) -> Display | None:
    """Analyses that have no table of their own, on the model's scale."""
    others = material.results[~material.results["analysis"].isin(COVERED)]
    rows = [
        (
            row["analysis"],
            words.subset(row["subset"]),
            words.term(row["term"], str(row["method"])),
            _estimate(row),
            p_value(row["p_value"]),
            *_numbers(row, True),
            _trace(row),
        )
        for _, row in others.iterrows()
    ]
    heads = (
        "Analysis",
        "Subset",
        "Term",
        "Estimate (95% interval)",
        "p",
        "Sites",
        "Patients",
        "Events",
        TRACE,
    )
    return _table("other_estimates", "Other estimates.", heads, rows)


def left_out_table(material: Material, words: Words) -> Display | None:
    """Sites that an analysis left out, and why."""
    rows = [
        (
            row["analysis"],
            _group(row["subset"], words),
            words.reason(str(row["reason"])),
            count(row["n_sites"]),
        )
        for _, row in material.left_out.iterrows()
    ]
    return _table(
        "left_out",
        "Sites that each analysis left out, and why; a site counts once, under its first reason.",
        ("Analysis", "Subset", "Reason", "Sites"),
        rows,
    )


def _group(subset: str, words: Words) -> str:
    if subset == "all":
        return "All"
    return words.subset(subset) if "=" in subset else f"by {BANDS.get(subset, words.column(subset)).lower()}"


# ── cells ───────────────────────────────────────────────────────────────────────────────────────────────────


def _written(scale: str) -> Callable[[float], str]:
    if scale in RATIO_SCALES:
        return lambda value: ratio(exponent(value))
    return percent if scale in PERCENT_SCALES else decimal


def _estimate(row) -> str:
    """The estimate with its interval; its problem in words where there is none."""
    if missing(row["estimate"]):
        return f"{NOT_ESTIMATED}: {row['problem']}" if not missing(row["problem"]) and row["problem"] else NOT_ESTIMATED
    text = interval(row["estimate"], row["conf_low"], row["conf_high"], _written(str(row["scale"])))
    return f"{text}, no interval" if missing(row["conf_low"]) else text


def _numbers(row, events: bool = False) -> tuple[str, ...]:
    numbers = (count(row["n_sites"]), count(row["n_patients"]))
    return (*numbers, count(row["n_events"])) if events else numbers


def _trace(row) -> str:
    method = row["method"] if row["analysis"] == "perforation.rate" else ""
    return trace(row["analysis"], row["subset"], row["term"], method)


def _methods(rows: pd.DataFrame) -> str:
    """The methods of these rows, and the problems of those that have an estimate all the same."""
    methods = [str(method) for method in dict.fromkeys(rows["method"]) if not missing(method) and method]
    problems = dict.fromkeys(rows.loc[rows["estimate"].notna(), "problem"])
    told = [f"Method: {' / '.join(methods)}."] if methods else []
    return " ".join([*told, *(f"Note: {problem}." for problem in problems if not missing(problem) and problem)])


def _table(name: str, caption: str, columns: Sequence[str], rows: Iterable[Sequence[str]], note: str = ""):
    rows = tuple(tuple(row) for row in rows)
    return Display(name, caption, tuple(columns), rows, note) if rows else None
