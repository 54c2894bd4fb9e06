"""The yearly life table: survival at the start of each year after placement, by the actuarial method.

An implant that falls out during a year counts as at risk for half of it. Intervals are 0 to <12, 12 to <24 …
months.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.kaplan_meier import log_log_interval
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table
from liftseries.models.survival.km import survival_rows

ANALYSIS = "survival.life_table"
METHOD = "actuarial"
INTERVAL_MONTHS = 12.0


@dataclass(frozen=True)
class LifeTableEstimates(Estimates):
    """Survival at the start of each year.

    Attributes
    ----------
    table : an interval a row, `start_months, end_months`, the fields of `LifeTable`, `conf_low, conf_high`
    """

    table: pd.DataFrame


@dataclass(frozen=True)
class LifeTable:
    """Counts and survival of each interval; every array has shape (n_intervals,).

    Attributes
    ----------
    start_months, n_entering, n_censored, n_failed
    n_effective : entering less half the censored
    risk : of failing within the interval, failed / effective
    survival, std_error : at the start of the interval, patient-clustered
    """

    start_months: np.ndarray
    n_entering: np.ndarray
    n_censored: np.ndarray
    n_failed: np.ndarray
    n_effective: np.ndarray
    risk: np.ndarray
    survival: np.ndarray
    std_error: np.ndarray


def life_table(months: np.ndarray, failed: np.ndarray, cluster: np.ndarray, interval_months=INTERVAL_MONTHS):
    """Actuarial life table with a clustered infinitesimal-jackknife standard error.

    An implant contributes to log S, an interval it enters at a time,

        -(failed - q y) / (n' - d),   y = 1, or 1/2 where it is censored

    Parameters
    ----------
    months : shape (n,)
    failed : shape (n,), true/false
    cluster : shape (n,)
    interval_months : width of an interval

    Returns
    -------
    LifeTable

    Source: Cutler and Ederer 1958, doi:10.1016/0021-9681(58)90126-7; survival equals R's `KMsurv::lifetab`.
    """
    months, failed = np.asarray(months, float), np.asarray(failed, bool)
    codes, n_clusters = cluster_codes(cluster)
    interval = np.floor(months / interval_months).astype(int)
    n_intervals = interval.max() + 1 if len(interval) else 0
    n_failed = np.bincount(interval[failed], minlength=n_intervals)
    n_censored = np.bincount(interval[~failed], minlength=n_intervals)
    n_entering = np.cumsum((n_failed + n_censored)[::-1])[::-1]
    n_effective = n_entering - n_censored / 2
    risk = n_failed / n_effective
    survival = np.cumprod(np.r_[1.0, 1 - risk])[:n_intervals]

    log_survival = np.zeros(n_clusters)  # each patient's contribution to log S at the start of the interval
    std_error = np.zeros(n_intervals)
    for k in range(n_intervals):
        std_error[k] = survival[k] * np.sqrt(log_survival @ log_survival)
        in_k = interval == k
        entering = np.bincount(codes[interval >= k], minlength=n_clusters)
        failing = np.bincount(codes[in_k & failed], minlength=n_clusters)
        censored = np.bincount(codes[in_k & ~failed], minlength=n_clusters)
        left = n_effective[k] - n_failed[k]
        expected = risk[k] * (entering - censored / 2)
        log_survival = log_survival - (failing - expected) / (left if left else np.nan)
    return LifeTable(
        start_months=np.arange(n_intervals) * interval_months,
        n_entering=n_entering,
        n_censored=n_censored,
        n_failed=n_failed,
        n_effective=n_effective,
        risk=risk,
        survival=survival,
        std_error=std_error,
    )


def fit_survival_life_table(implants: pd.DataFrame) -> LifeTableEstimates:
    """Yearly actuarial life table of the implants.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it

    Returns
    -------
    LifeTableEstimates
        One row an interval, term its start in months, scale `probability`; n_sites and n_patients enter it,
        n_events fail in it.
    """
    months, failed = implants["months"].to_numpy(float), implants["failed"].to_numpy(bool)
    patient = implants["patient_id"].to_numpy()
    life = life_table(months, failed, patient)
    alone = life_table(months, failed, np.arange(len(months)))
    low, high = log_log_interval(life.survival, life.std_error)
    rows: list[dict] = []
    effects: list[dict] = []
    for k, start in enumerate(life.start_months):
        fit = Fit(
            analysis=ANALYSIS,
            subset="all",
            scale="probability",
            method=METHOD,
            n_sites=int(life.n_entering[k]),
            n_patients=len(pd.unique(patient[months >= start])),
            n_events=int(life.n_failed[k]),
        )
        (row,) = survival_rows(fit, [start], life.survival[[k]], life.std_error[[k]], np.nan)
        rows.append(row)
        effects += fit.design_effect_rows([row["term"]], [row["std_error"]], [alone.std_error[k]])
    if not rows:
        fit = Fit(ANALYSIS, "all", "probability", METHOD, 0, 0, 0)
        rows = [fit.row("0", problem=remark("none_followed"))]
    table = pd.DataFrame(
        {
            "start_months": life.start_months,
            "end_months": life.start_months + INTERVAL_MONTHS,
            "n_entering": life.n_entering,
            "n_censored": life.n_censored,
            "n_failed": life.n_failed,
            "n_effective": life.n_effective,
            "risk": life.risk,
            "survival": life.survival,
            "std_error": life.std_error,
            "conf_low": low,
            "conf_high": high,
        }
    )
    left_out = left_out_table(ANALYSIS, "all", [])
    return LifeTableEstimates(results_table(rows), left_out, table, design_effects=results_table(effects))
