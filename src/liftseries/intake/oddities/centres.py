"""Habits of a centre: no tear in many sites, heights rounded to half millimetres, one height typed twice."""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.intake.oddities.joined import Joined, first_rows, rows_told

HEIGHTS = ["rbh_min_mm", "rbh_max_mm"]


def centre_without_a_tear(joined: Joined, sites: float) -> pd.DataFrame:
    """One site of each centre."""
    known = joined.sites[joined.sites["perforation"].astype(object).isin(["yes", "no"])]
    torn = known["perforation"].eq("yes").groupby(known["centre"]).agg(["sum", "size"])
    return _of_centres(joined, torn.loc[torn["sum"].eq(0) & torn["size"].ge(sites), "size"].rename("n").to_frame())


def staged_with_torque(joined: Joined, sites: float, share: float) -> pd.DataFrame:
    """Those of centres that do not give the torque of staged implants as a rule."""
    staged = _staged(joined)
    habit = _habits(staged, sites, share).index
    return rows_told(staged.index[staged["torque"] & ~staged["centre"].isin(habit)])


def centre_gives_torque_of_staged(joined: Joined, sites: float, share: float) -> pd.DataFrame:
    """One site of each centre that does."""
    staged = _staged(joined)
    found = _habits(staged, sites, share)
    rows = first_rows(staged[staged["torque"]], "centre", "site_id").reindex(found.index.astype(str))
    return rows_told(rows.to_numpy(), told=found["sum"].to_numpy(), n=found["size"].to_numpy())


def _staged(joined: Joined) -> pd.DataFrame:
    staged = joined.sites[joined.sites["placement"].eq("staged")]
    return staged[["site_id", "centre"]].assign(torque=staged["torque_ncm"].notna())


def _habits(staged: pd.DataFrame, sites: float, share: float) -> pd.DataFrame:
    found = staged.groupby("centre")["torque"].agg(["sum", "size"])
    return found[found["size"].ge(sites) & found["sum"].gt(share * found["size"])]


def heights_end_in_0_or_5(joined: Joined, share: float, heights: float) -> pd.DataFrame:
    """One site of each centre."""
    each = joined.sites.melt(id_vars=["centre"], value_vars=HEIGHTS, value_name="height").dropna()
    halves = each["height"] * 2
    rounded = np.isclose(halves, halves.round(), rtol=0, atol=1e-6)
    found = pd.Series(rounded, each["centre"]).groupby(level=0).agg(["sum", "size"])
    found = found[found["size"].ge(heights) & found["sum"].ge(share * found["size"])]
    return _of_centres(joined, found.rename(columns={"size": "n", "sum": "rounded"}))


def lowest_is_highest(joined: Joined, share: float, heights: float) -> pd.DataFrame:
    """One site of each centre."""
    known = joined.sites.dropna(subset=[*HEIGHTS, "centre"])
    found = known["rbh_min_mm"].eq(known["rbh_max_mm"]).groupby(known["centre"]).agg(["sum", "size"])
    found = found[(found["size"] * len(HEIGHTS)).ge(heights) & found["sum"].ge(share * found["size"])]
    return _of_centres(joined, found.rename(columns={"size": "n", "sum": "same"}))


def _of_centres(joined: Joined, found: pd.DataFrame) -> pd.DataFrame:
    rows = first_rows(joined.sites, "centre", "site_id").reindex(found.index.astype(str))
    return rows_told(rows.to_numpy(), **{name: found[name].to_numpy() for name in found})
