"""Odd visits beside others: bone that grew back, months that may be years."""

from __future__ import annotations

import pandas as pd

from liftseries.intake.oddities.joined import HAIR, Joined, rows_told


def marginal_bone_better(joined: Joined, by: float) -> pd.DataFrame:
    """The later of two visits of a site with a known bone level."""
    known = joined.visits.dropna(subset=["site_id", "months", "marginal_bone_mm"])
    known = known.sort_values(["site_id", "months"], kind="stable")
    better = -known.groupby("site_id", sort=False)["marginal_bone_mm"].diff()
    better = better[better >= by - HAIR]
    return rows_told(better.index, better_mm=better.to_numpy())


def months_typed_in_years(joined: Joined, at_most: float, years: float, sites: float) -> pd.DataFrame:
    """One visit of each file and centre: that of the site with the smallest id, its earliest."""
    visits = joined.visits
    old = visits[["site_id", "months", "centre"]].assign(file=joined.files["visits"])
    old = old[visits["years_old"].ge(years - HAIR) & old["months"].gt(0)].dropna()
    old["whole"] = old["months"].mod(1).eq(0) & old["months"].le(at_most)
    groups = old.groupby(["file", "centre"], sort=False)
    told = old[groups["whole"].transform("all") & groups["site_id"].transform("nunique").ge(sites)]
    n = told.groupby(["file", "centre"], sort=False)["site_id"].transform("size")
    first = told.assign(n=n, site_id=told["site_id"].astype(str)).sort_values(["site_id", "months"], kind="stable")
    first = first.drop_duplicates(["file", "centre"])
    return rows_told(first.index, n=first["n"].to_numpy())
