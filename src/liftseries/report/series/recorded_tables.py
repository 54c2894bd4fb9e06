"""What was done at surgery, as recorded: lift methods, grafts, volumes, loading, implants' sizes."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count
from liftseries.report.kit.tables.cells import Content, content_of
from liftseries.report.kit.tables.described import (
    HEADINGS,
    Cells,
    heading,
    measured_cells,
    recorded,
    share_cells,
    traces,
)
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say
from liftseries.report.series.tables import MOST_GROUPS

DESCRIBED = ("series.lift_method", "series.graft", "series.surgery", "series.one_or_several")
MEASURED = {
    "fluid_ml": ("Fluid, ml", 2),
    "fluid_ml/dome_ml": ("Fluid over the spherical-cap volume", 2),
    "graft_ml": ("Graft, ml", 2),
    "graft_ml/dome_ml": ("Graft over the spherical-cap volume", 2),
    "loading_months": ("Placement to loading, months", 1),
}
LENGTH, DIAMETER = "implant_length_mm", "implant_diameter_mm"
SIZES = {LENGTH: "Length", DIAMETER: "Diameter"}
GROUPS = {
    "tears one": "perforated: patients with one site",
    "tears several": "perforated: patients with several",
    "failures one": "implant failed: patients with one site",
    "failures several": "implant failed: patients with several",
}


def surgery_table(material: Material, words: Words) -> Content | None:
    """Lift methods, grafts, volumes, loading, one site or several; None where nothing of it was recorded."""
    of = {analysis: material.rows(analysis) for analysis in DESCRIBED}
    rows = [
        *_lift_methods(of["series.lift_method"]),
        *_grafts(of["series.graft"], words),
        *_measured(of["series.surgery"]),
        *_one_or_several(of["series.one_or_several"]),
    ]
    radius = material.asked.get("lift_base_radius_mm")
    base = say("series.base", radius=radius) if radius else ""
    return content_of(
        HEADINGS,
        rows,
        say("series.surgery_note", base=base),
        traces(*of.values()),
    )


def _lift_methods(rows: pd.DataFrame) -> Iterable[Cells]:
    rows = recorded(rows)
    rows = rows[pd.to_numeric(rows["n_events"]).fillna(0).ne(0)]
    if len(rows):
        yield heading("Lift by")
    for _, row in rows.iterrows():
        yield share_cells(row["term"].replace("_", " "), row)


def _grafts(rows: pd.DataFrame, words: Words) -> Iterable[Cells]:
    rows = recorded(rows)
    if len(rows):
        yield heading("With a graft")
    for _, row in rows.iterrows():
        name = "all sites" if row["subset"] == "all" else "lift by " + row["subset"].partition("=")[2].replace("_", " ")
        yield share_cells(name, row)


def _measured(rows: pd.DataFrame) -> Iterable[Cells]:
    cells = [measured_cells(name, rows, f"{measure} ", digits) for measure, (name, digits) in MEASURED.items()]
    found = [one for one in cells if one]
    if found:
        yield heading("Volumes and times")
        yield from found


def _one_or_several(rows: pd.DataFrame) -> Iterable[Cells]:
    """Only where there are patients of both kinds."""
    of_term = {row["term"]: row for _, row in recorded(rows).iterrows()}
    pairs = [[f"{outcome} {name}" for name in ("one", "several")] for outcome in ("tears", "failures")]
    shown = [term for pair in pairs if all(term in of_term for term in pair) for term in pair]
    if shown:
        yield heading("One site or several")
    for term in shown:
        yield share_cells(GROUPS[term], of_term[term])


def implant_sizes_table(material: Material, words: Words) -> Content | None:
    """Implants placed, a length a row and a diameter a column."""
    sizes = material.table("implant_sizes")
    if sizes.empty:
        return None
    grid = sizes.pivot(index=LENGTH, columns=DIAMETER, values="n_sites").sort_index()
    turned = len(grid.columns) > MOST_GROUPS and len(grid) <= len(grid.columns)
    grid = grid.T if turned else grid
    across, down = (LENGTH, DIAMETER) if turned else (DIAMETER, LENGTH)
    note = say("series.sizes_note")
    if len(grid.columns) > MOST_GROUPS:
        listed = sizes.sort_values([LENGTH, DIAMETER])
        rows = [(f"{r[LENGTH]:g}", f"{r[DIAMETER]:g}", count(r["n_sites"])) for _, r in listed.iterrows()]
        return content_of((f"{SIZES[LENGTH]}, mm", f"{SIZES[DIAMETER]}, mm", "Sites"), rows, note)
    columns = sorted(grid)
    rows = [
        (f"{size:g}", *(count(row[column]) or "0" for column in columns), count(row.sum()))
        for size, row in grid.iterrows()
    ]
    total = ("All", *(count(grid[column].sum()) for column in columns), count(sizes["n_sites"].sum()))
    heads = (f"{SIZES[down]}, mm", *(f"{SIZES[across]} {column:g} mm" for column in columns), "All")
    return content_of(heads, [*rows, total], note)
