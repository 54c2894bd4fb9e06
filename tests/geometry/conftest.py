"""Invented sites and logs for the geometry, written down as a reader would draw them."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest
from studies import grid

from liftseries.geometry.derived import derive
from liftseries.geometry.limits import Limits
from liftseries.study.schema import read_schema

NO_LEVEL = -1  # the code of an empty cell
LIMITS = Limits(
    first_depth_margin_mm={"guided": 1.0, "freehand": 1.0},
    step_mm=1.0,
    depth_tolerance_mm=0.05,
    speed_limit_rpm=800.0,
    lift_base_radius_mm=5.0,
)
# Lowest floor 5 mm: first depth 4 mm. Highest 6 mm: last depth 6 mm, and more than 7 mm is overdrilled.
SITE = {
    "site_id": "s",
    "approach": "freehand",
    "rbh_min_mm": 5.0,
    "rbh_max_mm": 6.0,
    "soft_tissue_mm": None,
    "implant_diameter_mm": 4.1,
    "implant_length_mm": 9.0,
    "platform_depth_mm": 0.0,
    "guide_offset_mm": None,
}


def as_checked(name: str, rows: list[dict]) -> pd.DataFrame:
    """Rows as the checked table that the intake would hand on: its columns, in their types."""
    columns = {}
    for column in read_schema()[name].columns.values():
        values = [row.get(column.name) for row in rows]
        match column.type:
            case "category":
                codes = [NO_LEVEL if value is None else column.levels.index(value) for value in values]
                columns[column.name] = pd.Categorical.from_codes(codes, dtype=_levels_of(name, column.name))
            case "integer":
                columns[column.name] = pd.array(values, dtype="Int64")
            case "number":
                columns[column.name] = np.array(values, dtype=float)
            case _:
                columns[column.name] = np.array(values, dtype=object)
    return pd.DataFrame(columns, copy=False)


@cache
def _levels_of(table: str, column: str) -> pd.CategoricalDtype:
    return pd.CategoricalDtype(read_schema()[table].columns[column].levels)


@pytest.fixture
def limits() -> Limits:
    return LIMITS


@pytest.fixture
def checked():
    """`as_checked`."""
    return as_checked


def _drawn_passes(drawing: str) -> list[dict]:
    """The rows of a drawing, numbers as numbers."""
    passes = [{name: value or None for name, value in row.items()} for row in grid(drawing).to_dict("records")]
    numbers = ("length_mm", "shank_mm", "stop", "marked_on_mm", "intended_mm", "rpm", "read_mm")
    for row in passes:
        if row.get("role") == "gauge" and not row.get("stop"):
            row["stop"] = 0.0
        row["stop"] = None if row.get("stop") == "none" else row.get("stop")
        row.update({name: float(row[name]) for name in numbers if row.get(name)})
    return passes


@pytest.fixture
def log():
    """Derives one site's log; gives the derived passes, and the derived site as a Series.

    Every row of the drawing is a pass with an instrument and a stop of its own: `length_mm`; where needed
    `role` (else widening), `shank_mm`, `stop` with `means` (else length) and `marked_on_mm`, `intended_mm`,
    `rpm`, `finding` (else not_tested), `read_mm`. A gauge has a stop that takes nothing off, unless `stop` says `none`.
    Beside them the tray holds a drill with stops for every whole depth from 1 to 11 mm, so that the plan is one of 1 mm
    steps. Another site of the centre was probed, unless `centre_probes` is false. Keywords change the site.
    """

    def derived(drawing: str, limits: Limits = LIMITS, centre_probes=True, **site) -> tuple[pd.DataFrame, pd.Series]:
        site = {**SITE, **site}
        passes = _drawn_passes(drawing)
        instruments, stops, steps = planned_tray(site["approach"])
        for step_no, row in enumerate(passes, start=1):
            instruments.append(
                {
                    "instrument_id": f"of pass {step_no}",
                    "role": row.get("role") or "widening",
                    "approach": site["approach"],
                    "diameter_mm": 3.0,
                    "length_mm": row["length_mm"],
                    "guide_shank_mm": row.get("shank_mm"),
                }
            )
            if row.get("stop") is not None:
                stops.append(
                    {
                        "stop_id": f"of pass {step_no}",
                        "marking_mm": row["stop"],
                        "marking_means": row.get("means") or "length",
                        "marked_on_length_mm": row.get("marked_on_mm"),
                    }
                )
            steps.append(
                {
                    "site_id": "s",
                    "step_no": step_no,
                    "instrument_id": f"of pass {step_no}",
                    "stop_id": None if row.get("stop") is None else f"of pass {step_no}",
                    "intended_depth_mm": row.get("intended_mm"),
                    "speed_rpm": row.get("rpm"),
                    "finding": row.get("finding") or "not_tested",
                    "read_depth_mm": row.get("read_mm"),
                }
            )
        sites = [site, {**site, "site_id": "other"}]
        probed = {"instrument_id": "planned", "step_no": 1, "finding": "closed" if centre_probes else "not_tested"}
        steps.append({"site_id": "other", **probed})
        tables = {"sites": sites, "steps": steps, "instruments": instruments, "stops": stops}
        drawn = [as_checked(*table) for table in tables.items()]
        derived_steps, derived_sites = derive(*drawn, limits, centre=pd.Series(["c", "c"]))
        derived_steps = derived_steps[derived_steps["site_id"] == "s"]
        return derived_steps, derived_sites.iloc[0]

    return derived


def planned_tray(approach: str) -> tuple[list[dict], list[dict], list[dict]]:
    """A 12 mm drill with length stops of 1 to 11 mm; no passes yet."""
    drill = {
        "instrument_id": "planned",
        "role": "pilot",
        "approach": approach,
        "diameter_mm": 2.0,
        "length_mm": 12.0,
        "guide_shank_mm": 30.0 if approach == "guided" else None,
    }
    stops = [
        {"stop_id": f"planned {marking}", "marking_mm": float(marking), "marking_means": "length"}
        for marking in range(1, 12)
    ]
    return [drill], stops, []


@pytest.fixture
def judge(log):
    """The derived site of a drawn log: its depths and deviations."""
    return lambda drawing, *limits, **site: log(drawing, *limits, **site)[1]
