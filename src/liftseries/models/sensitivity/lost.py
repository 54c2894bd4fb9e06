"""What survival would be if the implants lost to follow-up fared best, or worst, and how many it takes."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.optimize import brentq

from liftseries.base.remarks import remark
from liftseries.estimators.kaplan_meier import kaplan_meier
from liftseries.models.shared.due import closing_month, lost_before, reachable_months
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table
from liftseries.models.survival.km import survival_rows

ANALYSIS, TIPPING = "sensitivity.lost_implants", "sensitivity.tipping_point"
OBSERVED, BEST, WORST = "as_observed", "best_case", "worst_case"
SHARE = "tipping_point"


def fit_sensitivity_lost(
    implants: pd.DataFrame, cases: pd.DataFrame, visits: pd.DataFrame, months: Sequence[float], data_until: str
) -> Estimates:
    """Survival at the months under what may have become of implants lost to follow-up.

    Who is lost: see `models.shared.due`; at a month also who was lost at an earlier one. An implant that is not yet
    due, or was seen within 3 months before the month, stays censored as observed in every case.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    cases, visits : from which it follows when the data were closed, where the plan does not say
    months : at which survival is asked for
    data_until : the month in which the data were closed, or ""

    Returns
    -------
    Estimates
        `sensitivity.lost_implants`: a month and case (`method`), scale `probability`. `sensitivity.tipping_point`: the
        share of the lost implants that must have failed right after their last visit for survival to come down to the
        lower limit of what was observed.

    Source: best and worst case: common practice, no source; tipping point: Campbell, Pennello and Yue 2011,
    doi:10.1080/10543406.2011.550094 (the idea, for outcomes that are yes or no).
    """
    time, failed = implants["months"].to_numpy(float), implants["failed"].to_numpy(bool)
    died = implants["died"].to_numpy(bool)
    patient = implants["patient_id"].to_numpy()
    reachable = reachable_months(implants, closing_month(data_until, cases, visits))
    shared = {
        "subset": "all",
        "scale": "probability",
        "n_sites": len(implants),
        "n_patients": len(pd.unique(patient)),
    }
    rows, tipping, effects = [], [], []
    for month in months:
        asked = [one for one in months if one <= month]
        lasts = lost_until(asked, time, failed, died, reachable)
        lost = np.isfinite(lasts)
        of_case = {}
        for method, (until, event) in _fates(lasts, time, failed, lost).items():
            estimate = kaplan_meier(until, event, patient)
            fit = Fit(analysis=ANALYSIS, method=method, n_events=int((event & (until <= month)).sum()), **shared)
            of_case[method] = survival_rows(fit, [month], *estimate.at([month]), estimate.last_month)[0]
            if method == OBSERVED:
                alone = kaplan_meier(until, event, np.arange(len(until))).at([month])[1]
                effects += fit.design_effect_rows([of_case[method]["term"]], [of_case[method]["std_error"]], alone)
        rows += of_case.values()
        fit = Fit(
            analysis=TIPPING,
            method=SHARE,
            note=remark("lost_before", n_lost=int(lost.sum()), months=month),
            n_events=int((failed & (time <= month)).sum()),
            **{**shared, "scale": "share of the lost"},
        )
        tipping.append(tipping_row(fit, month, time, failed, lasts, of_case[OBSERVED]))
    left_out = left_out_table(ANALYSIS, "all", [])
    return Estimates(results_table([*rows, *tipping]), left_out, design_effects=results_table(effects))


def lost_until(months: Sequence[float], time, failed, died, reachable) -> np.ndarray:
    """The last of the months at which each implant was due and lost; NaN where at none.

    Whoever was lost at an earlier month is lost at the later ones, due then or not, so that no worst case rises.
    """
    last = np.full(len(time), np.nan)
    for month in sorted(months):
        last[lost_before(month, time, failed, died, reachable)] = month
    return last


def _fates(lasts: np.ndarray, time: np.ndarray, failed: np.ndarray, lost: np.ndarray) -> dict:
    """Case -> until when each implant was followed and whether it failed then."""
    return {OBSERVED: (time, failed), BEST: (np.where(lost, lasts, time), failed), WORST: (time, failed | lost)}


def tipping_row(fit: Fit, month: float, time, failed, lasts, observed: dict) -> dict:
    """The share of lost implants at which survival falls to the observed lower limit; `lasts` as of `lost_until`."""
    term, lost = f"{month:g}", np.isfinite(lasts)
    if np.isnan(observed.get("conf_low", np.nan)):
        return fit.row(term, problem=remark("no_lower_limit", why=observed["problem"]))
    if not lost.any():
        return fit.row(term, problem=remark("none_lost"))

    def above(share: float) -> float:
        return survival_if(month, time, failed, lasts, share) - observed["conf_low"]

    if above(0.0) <= 0:
        return fit.row(term, problem=remark("below_limit_without_failure"))
    if above(1.0) > 0:
        return fit.row(term, problem=remark("above_limit_with_all_failed"))
    return fit.row(term, float(brentq(above, 0.0, 1.0, xtol=1e-10)))


def survival_if(month: float, time: np.ndarray, failed: np.ndarray, lasts: np.ndarray, share: float) -> float:
    """Kaplan-Meier survival at a month if a share of each lost implant failed when it was lost and the rest lasts."""
    lost = np.isfinite(lasts)
    until = np.r_[np.where(lost, lasts, time), time[lost]]
    event = np.r_[failed, np.ones(int(lost.sum()), bool)]
    weight = np.r_[np.where(lost, 1 - share, 1.0), np.full(int(lost.sum()), share)]
    times, when = np.unique(until, return_inverse=True)
    n = np.cumsum(np.bincount(when, weights=weight)[::-1])[::-1]
    d = np.bincount(when, weights=weight * event)
    steps = np.where((times <= month) & (n > 0), 1 - d / np.maximum(n, 1e-300), 1.0)
    return float(np.prod(steps))
