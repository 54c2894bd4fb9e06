"""A made-up series of two centres in which nothing is odd, as checked tables; and ways to change it."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pandas as pd

from liftseries.intake.oddities.listed import list_oddities
from liftseries.intake.study import empty_table
from liftseries.study.schema import read_schema

N = 60
CLOSED = "2025-12"
Tables = dict[str, pd.DataFrame]
Change = Callable[[Tables], Tables]


def even_series() -> Tables:
    """The tables as `_even_series` makes them."""
    return dict(_even_series())


@cache
def _even_series() -> Tables:
    """60 patients of one site each, s00 to s59, the even ones of the centre North; a log and three visits a site."""
    rng, number = np.random.default_rng(7), np.arange(N)
    centre = np.where(number % 2, "South", "North")
    ids = [f"s{k:02d}" for k in number]
    patients = pd.DataFrame(
        {"patient_id": [f"p{k:02d}" for k in number], "centre": centre, "age_years": 50, "sex": "female"}
    )
    lowest = np.round(rng.uniform(3, 6, N), 1) + 0.03
    sites = pd.DataFrame(
        {
            "site_id": ids, "patient_id": patients["patient_id"], "operator": np.where(number % 2, "os", "on"),
            "operator_case_no": number // 2 + 1, "surgery_year": 2019 + number // 15, "tooth": 16,
            "approach": "freehand", "protocol": "A", "rbh_min_mm": lowest,
            "rbh_max_mm": lowest + np.round(rng.uniform(0.2, 1, N), 2),
            "membrane_mm": np.round(rng.uniform(0.5, 2, N), 2), "ridge_width_mm": np.round(rng.uniform(6, 9, N), 2),
            "implant_diameter_mm": 4.1, "implant_length_mm": 9.0, "platform_depth_mm": 0.0, "septum": "no",
            "fluid_ml": np.round(rng.uniform(0.1, 0.3, N), 3), "graft_ml": np.round(rng.uniform(0.1, 0.3, N), 3),
            "graft": "mixed", "perforation": np.where(number % 10, "no", "yes"), "perforation_test": "probe",
            "placement": "same_day", "torque_ncm": np.round(rng.uniform(15, 45, N), 1), "healing": "submerged",
            "bone_height_post_mm": np.round(rng.uniform(8, 9.5, N), 2),
        }
    )  # fmt: skip
    steps = pd.DataFrame(
        {"site_id": np.repeat(ids, 2), "step_no": [1, 2] * N, "instrument_id": "i1", "finding": ["closed", "open"] * N}
    )
    visits = pd.DataFrame(
        {
            "site_id": np.repeat(ids, 3), "months": np.round(np.tile([3, 12, 24], N) + rng.uniform(0, 0.9, 3 * N), 2),
            "status": "functioning", "bone_height_mm": np.round(rng.uniform(7.5, 8.5, 3 * N), 2),
            "marginal_bone_mm": np.round(rng.uniform(0, 1, 3 * N), 2), "complication": "none",
        }
    )  # fmt: skip
    made = {"patients": patients, "sites": sites, "steps": steps, "visits": visits}
    return {name: _checked(name, made.get(name)) for name in read_schema()}


def _checked(name: str, made: pd.DataFrame | None) -> pd.DataFrame:
    blank = empty_table(read_schema()[name])
    return blank if made is None else made.reindex(columns=list(blank)).astype(blank.dtypes.to_dict())


def cell(table: str, key: str, column: str, value: object, months: int | None = None) -> Change:
    """One cell of a row; of a site's visits the one at number `months` (0, 1, 2)."""
    own = {"patients": "patient_id"}.get(table, "site_id")

    def change(tables: Tables) -> Tables:
        changed = tables[table].copy()
        rows = changed.index[changed[own].eq(key)]
        changed.loc[rows if months is None else rows[months], column] = value
        return {**tables, table: changed}

    return change


def column(table: str, name: str, values: object) -> Change:
    """A whole column; `values` may be a function of the table."""
    return lambda tables: {
        **tables,
        table: tables[table].assign(**{name: values}).astype({name: tables[table][name].dtype}),
    }


def without(table: str, *keys: str) -> Change:
    """No rows of these sites."""
    return lambda tables: {
        **tables,
        table: tables[table][~tables[table]["site_id"].isin(keys)].reset_index(drop=True),
    }


def both(*changes: Change) -> Change:
    """One after the other."""

    def change(tables: Tables) -> Tables:
        for one in changes:
            tables = one(tables)
        return tables

    return change


def listed(tables: Tables, data_until: str = CLOSED, accepted=(), file=lambda name, table: name) -> pd.DataFrame:
    """The list of oddities of tables that lie in a file each, or where `file` says."""
    places = {
        name: pd.DataFrame({"file": file(name, table), "row": np.arange(len(table)) + 2})
        for name, table in tables.items()
    }
    return list_oddities(tables, places, data_until, 5.0, accepted)


def told(tables: Tables, data_until: str = CLOSED) -> set[tuple[str, str]]:
    """Rule and key of each oddity."""
    return keys_told(listed(tables, data_until))


def keys_told(found: pd.DataFrame) -> set[tuple[str, str]]:
    """Rule and key of each oddity of a list."""
    return set(zip(found["rule"], found["key"], strict=True))
