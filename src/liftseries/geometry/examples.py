"""Cases for the ladder drawing: one drilled as planned and one with deviations, with their planned rungs."""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.geometry.derived import Limits, reach
from liftseries.geometry.deviations import DEVIATIONS
from liftseries.geometry.ladder import rungs_mm

COLUMNS = (
    "case", "site_label", "approach", "step_no", "role", "length_mm", "stop_length_mm", "depth_mm",
    "deepest_before_mm", "finding", "rbh_min_mm", "rbh_max_mm", "rungs_mm", "deviations",
)  # fmt: skip


def ladder_cases(
    sites: pd.DataFrame,
    derived_sites: pd.DataFrame,
    derived_steps: pd.DataFrame,
    instruments: pd.DataFrame,
    stops: pd.DataFrame,
    limits: Limits,
) -> pd.DataFrame:
    """The passes of the cases to draw, one row a pass; no rows where no case fits.

    As planned: the site of typical log length among those with a ladder, a breakthrough and no deviation. With
    deviations: the same among the sites with most of them, a misread stop first. Sites are labelled, not named.
    """
    flags = derived_sites[list(DEVIATIONS)].fillna(False).astype(bool)
    n_passes = derived_sites["site_id"].map(derived_steps["site_id"].value_counts()).fillna(0)
    drawable = (n_passes > 0) & derived_sites["planned_first_mm"].notna()
    clean = drawable & ~flags.any(axis=1) & derived_sites["breakthrough_mm"].notna()
    n_deviations = (flags.sum(axis=1) + 10 * flags["stop_misread"]).where(drawable, 0)
    strayed = (n_deviations > 0) & (n_deviations == n_deviations.max())
    cases = []
    for label, chosen in (("as planned", clean), ("with deviations", strayed)):
        row = _typical(n_passes, chosen)
        if row is not None:
            named = " ".join(name for name in DEVIATIONS if flags[name].iloc[row])
            case = _case(sites.iloc[row], derived_steps, instruments, stops, limits)
            cases.append(case.assign(case=len(cases) + 1, site_label=label, deviations=named))
    return pd.concat(cases)[list(COLUMNS)] if cases else pd.DataFrame(columns=list(COLUMNS))


def _typical(n_passes: pd.Series, chosen: pd.Series) -> int | None:
    """The first row whose log is as long as the median of those chosen."""
    rows = np.flatnonzero(chosen)
    if not rows.size:
        return None
    lengths = n_passes.to_numpy()[rows]
    return int(rows[np.argmin(np.abs(lengths - np.median(lengths)))])


def _case(
    site: pd.Series,
    derived_steps: pd.DataFrame,
    instruments: pd.DataFrame,
    stops: pd.DataFrame,
    limits: Limits,
) -> pd.DataFrame:
    passes = derived_steps[derived_steps["site_id"] == site["site_id"]].sort_values("step_no")
    passes = passes.merge(instruments[["instrument_id", "role", "length_mm"]], on="instrument_id", how="left")
    approach = str(site["approach"])
    rungs = rungs_mm(
        reach(instruments, stops, approach).travel_mm,
        float(site["rbh_min_mm"]),
        float(site["rbh_max_mm"]),
        float(site["platform_depth_mm"]) if approach == "guided" else 0.0,
        limits.first_depth_margin_mm[approach],
        limits.step_mm,
    )
    return passes.assign(
        approach=approach,
        rbh_min_mm=site["rbh_min_mm"],
        rbh_max_mm=site["rbh_max_mm"],
        rungs_mm=" ".join(f"{rung:g}" for rung in rungs),
    )
