"""Whether the error of the last depth grows with the depth that was planned.

The planned depth is worked out from the plan and known without error, so the difference is regressed on it. On the mean
of both, as between two measurements, an error in the achieved depth alone would already tilt the line.
"""

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import NotFitted, few_patients_df
from liftseries.estimators.mixed import least_squares_std_error, mixed_reml
from liftseries.models.depth.agreement import ANALYSIS as AGREEMENT
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table

ANALYSIS = "depth.proportional_bias"
METHOD = "reml"
TERM = "planned_last_mm"
AS_IN_AGREEMENT = remark("left_out_as_in", analysis=AGREEMENT)  # why a site is left out


def fit_depth_proportional_bias(cases: pd.DataFrame) -> Estimates:
    """Mixed model of achieved less planned last depth on the planned depth.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it

    Returns
    -------
    Estimates
        `(intercept)` and `planned_last_mm` on the scale `mm`: how the error changes with each mm planned.

    Source: Bland and Altman 1999, doi:10.1177/096228029900800204, section 3.2; against the reference where that has no
    error: Krouwer 2008, doi:10.1002/sim.3086.
    """
    achieved, planned = cases["achieved_last_mm"].to_numpy(float), cases[TERM].to_numpy(float)
    known = np.isfinite(achieved - planned)
    used = cases.loc[known]
    design = design_matrix(used, [TERM])
    error_mm, patient = (achieved - planned)[known], used["patient_id"].to_numpy()
    n_patients = len(pd.unique(patient))
    clustered = len(used) > n_patients
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="mm",
        method=METHOD,
        n_sites=len(used),
        n_patients=n_patients,
        df=few_patients_df(n_patients, len(design.names)),
        note="" if clustered or not len(used) else remark("no_patient_with_two_sites"),
    )
    effects = []
    try:
        if len(used) == 0:
            raise NotFitted(remark("depths_not_recorded"))
        if TERM in design.problems:
            raise NotFitted(design.problems[TERM])
        if n_patients <= len(design.names):
            raise NotFitted(remark("too_few_patients", n_patients=n_patients, n_coefficients=len(design.names)))
        model = mixed_reml(error_mm, design.matrix, patient if clustered else None)
    except NotFitted as why:
        rows = [fit.row(term, problem=design.problems.get(term, str(why))) for term in design.terms()]
    else:
        fitted = list(zip(design.names, model.coefficients, model.std_error, strict=True))
        rows = [fit.wald_row(term, b, se) for term, b, se in fitted]
        if clustered:
            naive = least_squares_std_error(design.matrix, error_mm)
            effects = fit.design_effect_rows(design.names, model.std_error, naive)
    reasons = [(AS_IN_AGREEMENT, int((~known).sum()))]
    left_out = left_out_table(ANALYSIS, "all", reasons)
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))
