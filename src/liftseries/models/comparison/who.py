"""Who is compared, as counted: characteristics by group, groups by operator and year, who fell out."""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.models.comparison.compared import Asked, Compared
from liftseries.models.series.describe import CHARACTERISTICS, characteristics
from liftseries.models.shared.levels import as_levels, is_missing
from liftseries.study.schema import UNKNOWN

PLACE = ["unit", "column", "level"]


def entangled(cases: pd.DataFrame, groups: str) -> pd.DataFrame:
    """`group, operator, surgery_year, n_sites`: which group was whose, and when; who is not known is `unknown`."""
    columns = ["group", "operator", "surgery_year"]
    if groups not in cases:
        return pd.DataFrame(columns=[*columns, "n_sites"])
    table = pd.DataFrame({"group": np.asarray(as_levels(cases[groups]).astype(object))}, index=cases.index)
    for column in columns[1:]:
        table[column] = _told(cases, column)
    table = table[table["group"].notna()]
    order = {level: place for place, level in enumerate(as_levels(cases[groups]).categories)}
    counts = table.groupby(columns, sort=True, observed=True).size().rename("n_sites").reset_index()
    return counts.sort_values("group", key=lambda group: group.map(order), kind="stable").reset_index(drop=True)


def _told(cases: pd.DataFrame, column: str) -> np.ndarray:
    """A column's values as text, `unknown` where there is none."""
    if column not in cases:
        return np.full(len(cases), UNKNOWN, object)
    missing = is_missing(cases[column])
    values = cases[column].astype(object)
    return np.array([UNKNOWN if gone else f"{value}" for value, gone in zip(values, missing, strict=True)], object)


def fallen_out(population: Compared) -> pd.DataFrame:
    """`group, n_sites, n_judged, n_as_planned, n_fallen_out`: of the sites compared, who is left where only those
    drilled as planned count."""
    as_drilled = population.sites["as_drilled"].astype(object)
    rows = []
    for level in population.asked.levels:
        own = as_drilled[population.of(level)]
        n_planned = int(own.eq("plan").sum())
        rows.append((level, len(own), int(own.notna().sum()), n_planned, len(own) - n_planned))
    return pd.DataFrame(rows, columns=["group", "n_sites", "n_judged", "n_as_planned", "n_fallen_out"])


def characteristics_of_groups(cases: pd.DataFrame, asked: Asked) -> pd.DataFrame:
    """The characteristics by group as in the description of the series, and `smd`, each group's standardised
    difference from the reference: means over √((sd² + sd²) / 2), shares with p (1 - p).

    Subsets are `all` and `protocol=B`. Source: Austin 2009, doi:10.1002/sim.3697.
    """
    if asked.column not in cases:
        return pd.DataFrame(columns=[*CHARACTERISTICS, "smd"])
    table = characteristics(cases, by=asked.column)
    table = table[~table["column"].eq(asked.column)].reset_index(drop=True)
    reference = table[table["subset"].eq(f"{asked.column}={asked.reference}")]
    beside = table[PLACE].merge(reference, "left", PLACE)
    share, others = table["share"].astype(float), beside["share"].astype(float)
    apart = (table["mean"].astype(float) - beside["mean"].astype(float)).where(share.isna(), share - others)
    spread = [one["sd"].astype(float) ** 2 for one in (table, beside)]
    spread = [v.where(p.isna(), p * (1 - p)) for v, p in zip(spread, (share, others), strict=True)]
    pooled = np.sqrt((spread[0] + spread[1]) / 2)
    smd = (apart / pooled.where(pooled > 0)).mask(pooled.eq(0) & apart.eq(0), 0.0)
    return table.assign(smd=smd.mask(table["subset"].isin(["all", f"{asked.column}={asked.reference}"])))
