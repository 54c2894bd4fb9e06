"""Whether the arithmetic meets the gauge: what was read on a gauge less the depth of the hole as recomputed."""

from __future__ import annotations

import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.depth.limits import limits_of_agreement
from liftseries.models.shared.results import Estimates, left_out_table, results_table

ANALYSIS = "depth.read"


def fit_depth_read(cases: pd.DataFrame, steps: pd.DataFrame) -> Estimates:
    """Bias and limits of agreement of gauge readings with the recomputed depth, positive = read deeper than reckoned.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    steps : derived/steps.csv

    Returns
    -------
    Estimates
        Terms `bias`, `low`, `high` on the scale `mm`, by both methods of `limits_of_agreement`; each reading counts.
    """
    found = readings(steps)
    patient = found["site_id"].map(cases.set_index("site_id")["patient_id"].astype(object)).to_numpy()
    difference = (found["read_depth_mm"] - found["deepest_before_mm"]).to_numpy(float)
    n_sites, none = found["site_id"].nunique(), remark("no_gauge_read")
    rows, effects = limits_of_agreement(ANALYSIS, difference, patient, n_sites, none)
    left_out = left_out_table(ANALYSIS, "all", [(remark("no_gauge_read_here"), len(cases) - n_sites)])
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def readings(steps: pd.DataFrame) -> pd.DataFrame:
    """The gauge passes with a reading at which the floor was not yet open: that pass did not find it open either.

    Parameters
    ----------
    steps : derived/steps.csv

    Returns
    -------
    `site_id, step_no, read_depth_mm, deepest_before_mm`, one row a pass, in the order of the passes
    """
    steps = steps.sort_values(["site_id", "step_no"], kind="stable")
    opened = steps["finding"].eq("open").groupby(steps["site_id"].to_numpy()).cumsum()
    is_gauge = steps["advance_mm"].isna()  # every drill pass advances by some number
    used = steps[is_gauge & steps["read_depth_mm"].notna() & opened.eq(0)]
    return used[["site_id", "step_no", "read_depth_mm", "deepest_before_mm"]]
