"""How near the drilling came to the plan: bias and limits of agreement, achieved less planned last depth."""

from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import ndtri

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import CONF_LEVEL, FEW_PATIENTS, NotFitted, critical_value
from liftseries.estimators.mixed import mixed_reml
from liftseries.estimators.variance_components import total_variance_limits
from liftseries.models.shared.results import NO_STD_ERROR, Estimates, Fit, left_out_table, results_table

ANALYSIS = "depth.agreement"
METHOD = "reml"
LIMITS_AT = float(ndtri(0.975))  # limits hold 95 % of sites: ± 1.96 standard deviations


def fit_depth_agreement(cases: pd.DataFrame) -> Estimates:
    """Bias and limits of agreement of the last depth, positive = deeper than planned.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it

    Returns
    -------
    Estimates
        Terms `bias`, `low`, `high` on the scale `mm`; limits = bias ± 1.96 √(between + within variance). The interval
        of a limit puts those of the bias and of the total SD together (MOVER); it reaches further out than in, as
        an SD is less sure upwards. The delta method's, even on both sides, misses a limit that lies further out too
        often. `std_error` is the delta method's, SE² = SE(bias)² + 1.96² SE(total SD)². Where the variance between
        patients is estimated as zero no such expansion exists; the total SD then has the standard error of K - 1
        independent values, as if each patient counted once, and `note` says so.

    Source: Bland and Altman 1999, doi:10.1177/096228029900800204, and 2007, doi:10.1080/10543400701329422
    (repeated measurements); variances by `mixed_reml`, intervals of the limits as Zou 2013,
    doi:10.1177/0962280211402548, about them (see `total_variance_limits`).
    """
    achieved, planned = cases["achieved_last_mm"].to_numpy(float), cases["planned_last_mm"].to_numpy(float)
    error_mm = achieved - planned
    known = np.isfinite(error_mm)
    error_mm, patient = error_mm[known], cases["patient_id"].to_numpy()[known]
    n, n_patients = len(error_mm), len(pd.unique(patient))
    clustered = n > n_patients
    few = n_patients < FEW_PATIENTS
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="mm",
        method=METHOD,
        n_sites=n,
        n_patients=n_patients,
        df=n_patients - 1 if few and n_patients > 1 else None,
        note=joined("" if clustered else remark("no_patient_with_two_sites"), remark("t_less_one") if few else ""),
    )
    effects = []
    try:
        if n == 0:
            raise NotFitted(remark("depths_not_recorded"))
        if n_patients < 2:
            raise NotFitted(remark("one_patient"))
        model = mixed_reml(error_mm, np.ones((n, 1)), patient if clustered else None)
    except NotFitted as why:
        rows = [fit.row(term, problem=str(why)) for term in ("bias", "low", "high")]
    else:
        bias, se = float(model.coefficients[0]), float(model.std_error[0])
        sd = np.sqrt(model.total_variance)
        log_se = model.total_variance_log_se
        if not np.isfinite(log_se):
            log_se = np.sqrt(2 / (n_patients - 1))
            fit = replace(fit, note=joined(fit.note, remark("variance_between_patients_zero")))
        limit_se = np.hypot(se, LIMITS_AT * sd / 2 * log_se)
        rows = [fit.wald_row("bias", bias, se)]
        least, most = (LIMITS_AT * sd * np.sqrt(factor) for factor in total_variance_limits(error_mm, patient))
        inwards, outwards = (np.hypot(critical_value(fit.df) * se, LIMITS_AT * sd - end) for end in (least, most))
        rows += [
            fit.row(term, limit, limit_se, conf_low=limit - below, conf_high=limit + above, conf_level=CONF_LEVEL)
            for term, limit, below, above in (
                ("low", bias - LIMITS_AT * sd, outwards, inwards),
                ("high", bias + LIMITS_AT * sd, inwards, outwards),
            )
        ]
        if clustered and se > NO_STD_ERROR:
            naive_limit_se = sd * np.sqrt(1 / n + LIMITS_AT**2 / (2 * (n - 1)))
            naive = [sd / np.sqrt(n), naive_limit_se, naive_limit_se]
            effects = fit.design_effect_rows(("bias", "low", "high"), (se, limit_se, limit_se), naive)

    reasons = [(reason, int(out.sum())) for reason, out in depth_missing(cases).items()]
    left_out = left_out_table(ANALYSIS, "all", reasons)
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def depth_missing(cases: pd.DataFrame) -> dict[str, np.ndarray]:
    """Which of the last depths is missing -> at which sites, shape (n_sites,); a site stands under its first."""
    achieved, planned = (np.isnan(cases[name].to_numpy(float)) for name in ("achieved_last_mm", "planned_last_mm"))
    missing = {"achieved_last_mm": achieved, "planned_last_mm": ~achieved & planned}
    return {remark("number_missing", column=column): out for column, out in missing.items()}
