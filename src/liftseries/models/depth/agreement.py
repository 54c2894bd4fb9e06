"""How near the drilling came to the plan: bias and limits of agreement, achieved less planned last depth."""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.depth.limits import limits_of_agreement
from liftseries.models.shared.results import Estimates, left_out_table, results_table

ANALYSIS = "depth.agreement"


def fit_depth_agreement(cases: pd.DataFrame) -> Estimates:
    """Bias and limits of agreement of the last depth, positive = deeper than planned.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it

    Returns
    -------
    Estimates
        Terms `bias`, `low`, `high` on the scale `mm`, by both methods of `limits_of_agreement`.
    """
    achieved, planned = cases["achieved_last_mm"].to_numpy(float), cases["planned_last_mm"].to_numpy(float)
    error_mm = achieved - planned
    known = np.isfinite(error_mm)
    patient = cases["patient_id"].to_numpy()[known]
    none = remark("depths_not_recorded")
    rows, effects = limits_of_agreement(ANALYSIS, error_mm[known], patient, int(known.sum()), none)
    reasons = [(reason, int(out.sum())) for reason, out in depth_missing(cases).items()]
    left_out = left_out_table(ANALYSIS, "all", reasons)
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def depth_missing(cases: pd.DataFrame) -> dict[str, np.ndarray]:
    """Which of the last depths is missing -> at which sites, shape (n_sites,); a site stands under its first."""
    achieved, planned = (np.isnan(cases[name].to_numpy(float)) for name in ("achieved_last_mm", "planned_last_mm"))
    missing = {"achieved_last_mm": achieved, "planned_last_mm": ~achieved & planned}
    return {remark("number_missing", column=column): out for column, out in missing.items()}
