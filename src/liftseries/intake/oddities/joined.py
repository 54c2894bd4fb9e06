"""The checked tables as the rules look at them: sites with patient and planned lift, visits with their site."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.geometry.floor import dome_ml, protrusion_mm, rbh_mid_mm

HAIR = 1e-9  # differences of numbers typed in tenths are no exact binary numbers
OF_THE_SITE = ("patient_id", "centre", "operator", "surgery_year", "placement", "rbh_mid_mm", "bone_height_post_mm")


@dataclass(frozen=True)
class Joined:
    """What the rules read; the rows of each table are those of the checked one, in its order.

    Attributes
    ----------
    tables : name -> table; an unread one has no rows, and its columns may be missing
    files : table -> shape (n_rows,), the file of each row as study.yaml names it
    closed : the end of the month in which the data were closed, in years, such as 2025.5; NaN where it is not set
    """

    tables: Mapping[str, pd.DataFrame]
    files: Mapping[str, np.ndarray]
    closed: float

    @property
    def sites(self) -> pd.DataFrame:
        """Sites with `centre, rbh_mid_mm, dome_ml, n_visits, years_old`."""
        return self.tables["sites"]

    @property
    def visits(self) -> pd.DataFrame:
        """Visits with `OF_THE_SITE`, `years_old`, and `first_of_site`, 1 at the site's earliest visit and else 0."""
        return self.tables["visits"]


def join(
    tables: Mapping[str, pd.DataFrame], files: Mapping[str, np.ndarray], data_until: str, lift_base_radius_mm: float
) -> Joined:
    """The tables joined.

    Parameters
    ----------
    tables : checked; all six, empty where the study has none
    files : table -> the file of each row
    data_until : the month in which the data were closed, "2025-06", or ""
    lift_base_radius_mm : as the plan has it
    """
    year, _, month = data_until.partition("-")
    closed = int(year) + int(month) / 12 if data_until else np.nan
    sites = tables["sites"].copy()
    sites["placement"] = sites["placement"].astype(object).where(sites["placement"].notna(), "same_day")
    centre = tables["patients"].drop_duplicates("patient_id").set_index("patient_id")["centre"]
    sites["centre"] = sites["patient_id"].map(centre)
    sites["rbh_mid_mm"] = rbh_mid_mm(sites["rbh_min_mm"], sites["rbh_max_mm"])
    lift = protrusion_mm(sites["platform_depth_mm"], sites["implant_length_mm"], sites["rbh_mid_mm"])
    sites["dome_ml"] = dome_ml(lift, lift_base_radius_mm)
    n_visits = sites["site_id"].map(tables["visits"]["site_id"].value_counts()).fillna(0)
    sites["n_visits"] = n_visits if len(tables["visits"]) else np.nan  # a study without visits has none to miss
    visits = tables["visits"].join(sites.drop_duplicates("site_id").set_index("site_id")[[*OF_THE_SITE]], on="site_id")
    earliest = visits.groupby("site_id", sort=False)["months"].transform("min")
    visits["first_of_site"] = visits["months"].eq(earliest).astype(float)
    until = closed if data_until else _latest_implied(visits)
    for table in (sites, visits):
        # At least so old, whatever day of its year the surgery was on.
        table["years_old"] = until - table["surgery_year"].astype("Float64").to_numpy(float, na_value=np.nan) - 1
    return Joined({**tables, "sites": sites, "visits": visits}, files, closed)


def _latest_implied(visits: pd.DataFrame) -> float:
    """The latest date on which data were still gathered for certain, in years; NaN without visits."""
    year = visits["surgery_year"].astype("Float64").to_numpy(float, na_value=np.nan)
    dated = year + visits["months"].to_numpy(float) / 12
    return float(np.nanmax(dated)) if np.isfinite(dated).any() else np.nan


def rows_told(index=(), **numbers) -> pd.DataFrame:
    """What a rule tells: a row an oddity, by its place in the checked table, with numbers that its message names."""
    return pd.DataFrame(numbers, index=np.asarray(index, dtype=int))


def first_rows(table: pd.DataFrame, by: str, key: str) -> pd.Series:
    """Of each level of a column the row with the smallest key: level -> place in the table."""
    ordered = table[[by, key]].dropna().astype(str).sort_values(key, kind="stable")
    return ordered.drop_duplicates(by).reset_index().set_index(by)["index"]
