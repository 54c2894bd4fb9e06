"""Who is in the study: flow, rows set aside, characteristics, missing values."""

from __future__ import annotations

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import WITHHELD, count, decimal, is_withheld, missing, percent, share_of
from liftseries.report.kit.tables.cells import (
    Content,
    content_of,
)
from liftseries.report.kit.words import Words


def flow_table(material: Material, words: Words) -> Content | None:
    """Patients and sites at each stage and in each analysis."""
    rows = [
        (
            str(row["stage"]).capitalize() if "." not in str(row["stage"]) else str(row["stage"]),
            count(row["n_patients"]),
            count(row["n_sites"]),
        )
        for _, row in material.table("flow").iterrows()
    ]
    return content_of(("Stage", "Patients", "Sites"), rows)


def set_aside_table(material: Material, words: Words) -> Content | None:
    """How many rows were refused, by table, column and rule."""
    refused = material.table("set_aside")
    if refused.empty:
        return None
    refused = refused.fillna({"column": ""}).drop_duplicates(["table", "file", "row", "column", "rule"])
    counts = refused.groupby(["table", "column", "rule"], sort=True).size()
    rows = [(table, column, str(rule).replace("_", " "), count(n)) for (table, column, rule), n in counts.items()]
    return content_of(
        ("Table", "Column", "Rule", "Rows"),
        rows,
        "A row can break more than one rule. set_aside.csv lists each row with its message.",
    )


def characteristics_table(material: Material, words: Words) -> Content | None:
    """Patients and sites, overall and by group: n (%), or mean (SD) and median [quartiles]."""
    table = material.table("characteristics")
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
    return content_of(
        ("Characteristic", *heads),
        rows,
        "Numbers: mean (SD), median [quartiles]. Labels: n (% of those known). A patient with sites in two "
        "groups counts in both.",
    )


def _number_cell(cell, digits: int) -> str:
    if cell is not None and missing(cell.mean) and (is_withheld(cell.n_known) or cell.n_known):
        return WITHHELD
    if cell is None or not cell.n or missing(cell.mean):
        return "none known"
    mean, sd, median, q1, q3 = (decimal(value, digits) for value in (cell.mean, cell.sd, cell.median, cell.q1, cell.q3))
    return f"{mean}{f' ({sd})' if sd else ''}, {median} [{q1} to {q3}]"


def _level_cell(cell) -> str:
    if cell is None:
        return "0"
    return f"{count(cell.n)}" + (f" ({percent(cell.share)})" if not missing(cell.share) else "")


def missing_table(material: Material, words: Words) -> Content | None:
    """Empty or `unknown` values by column and centre; columns without any are left out and counted."""
    table = material.table("missing")
    if table.empty:
        return None
    subsets = list(dict.fromkeys(table["subset"]))
    cells = {(r.column, r.subset): r for r in table.itertuples(index=False)}
    columns = list(dict.fromkeys(table["column"]))
    with_gaps = [c for c in columns if any((c, s) in cells and cells[c, s].n_missing for s in subsets)]
    rows = [(words.column(column), *(_gap(cells.get((column, subset))) for subset in subsets)) for column in with_gaps]
    heads = ["All" if subset == "all" else words.subset(subset) for subset in subsets]
    n_full = len(columns) - len(with_gaps)
    note = (
        f"Empty or unknown of all; {n_full} of {len(columns)} columns looked at have no gap and are not listed. "
        "Not applicable, among them: nothing was to be recorded, by what the same row says or as the study marks it; "
        "the others were not recorded."
    )
    return content_of(("Column", *heads), rows, note)


def _gap(cell) -> str:
    if cell is None:
        return ""
    shown = not is_withheld(cell.n_not_applicable) and cell.n_not_applicable > 0
    return share_of(cell.n_missing, cell.n) + (f"; {count(cell.n_not_applicable)} not applicable" if shown else "")
