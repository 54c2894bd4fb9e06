"""Perforations with and without a deviation: the share perforated of the sites drilled as planned, and of the others.

No comparison of like with like: who strays from the plan, and at which sites, nobody randomised.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.models.depth.shares import NOT_JUDGED, share_rows
from liftseries.models.shared.outcomes import PERFORATION_UNKNOWN, known_perforation
from liftseries.models.shared.results import Estimates, left_out_table, results_table

ANALYSIS, TERM = "depth.perforation", "rate"
AS_PLANNED = "drilled_as_planned"
SUBSETS = {f"{AS_PLANNED}=yes": "plan", f"{AS_PLANNED}=no": "not_plan"}  # subset -> as_drilled


def fit_depth_perforation(cases: pd.DataFrame) -> Estimates:
    """Share of sites perforated, drilled as planned and not, of those where both can be told.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it

    Returns
    -------
    Estimates
        Term `rate`, scale `risk`, subsets `drilled_as_planned=yes` and `=no`.

    Source: `share_of_patients`.
    """
    known, perforated = known_perforation(cases)
    patient, as_drilled = cases["patient_id"].to_numpy(), cases["as_drilled"].astype(object)
    rows, effects = [], []
    for subset, level in SUBSETS.items():
        used = known & as_drilled.eq(level).to_numpy(bool)
        found = share_rows(ANALYSIS, subset, TERM, perforated[used], patient[used])
        rows, effects = rows + found[0], effects + found[1]
    reasons = [(reason, int(out.sum())) for reason, out in perforation_missing(cases).items()]
    left_out = left_out_table(ANALYSIS, "all", reasons)
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def perforation_missing(cases: pd.DataFrame) -> dict[str, np.ndarray]:
    """Why a site is in neither share -> at which sites, shape (n_sites,); a site stands under its first."""
    judged = cases["as_drilled"].notna().to_numpy(bool)
    return {NOT_JUDGED: ~judged, PERFORATION_UNKNOWN: judged & ~known_perforation(cases)[0]}
