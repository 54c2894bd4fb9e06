"""Survival where failures are known only to lie between visits, without a model; patients resampled for its band."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted
from liftseries.estimators.kaplan_meier import log_log_interval
from liftseries.estimators.resampling import patients_drawn
from liftseries.estimators.turnbull import Intervals, innermost, turnbull
from liftseries.models.shared.follow_up import NEVER_IN_FUNCTION, failure_intervals, seen_after_placement
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, left_out_table, results_table

ANALYSIS = "survival.turnbull"
TOPIC = 1  # of the random numbers, so that no two analyses draw the same
METHOD = "bootstrap"
RESAMPLED_TOLERANCE = 1e-8  # of any mass; a band is not read to more digits
DRAWS = ("replicate", "months", "survival", "naive_survival")


def turnbull_draws(implants: pd.DataFrame, months: Sequence[float], seed: int, first: int, n: int) -> pd.DataFrame:
    """Survival of resampled patients.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    months : the plan's
    seed : of the study
    first, n : the number of the first replicate, and how many

    Returns
    -------
    `replicate, months, survival, naive_survival`
        With patients and with single implants drawn; empty where nothing can be resampled.
    """
    left, right, patient = _told(implants)
    codes, n_patients = cluster_codes(patient)
    at = np.unique(np.asarray(months, float))
    if n == 0 or n_patients < 2 or not np.isfinite(right).any():
        return pd.DataFrame(columns=list(DRAWS))
    intervals = innermost(left, right)
    drawn = _weights(intervals, codes, n_patients, seed, first, n)
    survival = turnbull(intervals, drawn, RESAMPLED_TOLERANCE).survival(at)
    # As if implants were independent: drawn one by one. What that changes is the design effect.
    drawn = _weights(intervals, np.arange(len(left)), len(left), seed, first, n)
    naive = turnbull(intervals, drawn, RESAMPLED_TOLERANCE).survival(at)
    replicate = np.repeat(np.arange(first, first + n), len(at))
    columns = (replicate, np.tile(at, n), survival.ravel(), naive.ravel())
    return pd.DataFrame(dict(zip(DRAWS, columns, strict=True)))


def _weights(intervals: Intervals, codes: np.ndarray, n_units: int, seed: int, first: int, n: int) -> np.ndarray:
    """How often each distinct interval stands in each resample of the units, shape (n, n_distinct)."""
    drawn = (patients_drawn(n_units, seed, TOPIC, replicate, 1)[0] for replicate in range(first, first + n))
    return np.array([np.bincount(intervals.which, times[codes], len(intervals)) for times in drawn])


def fit_survival_turnbull(implants: pd.DataFrame, months: Sequence[float], draws: pd.DataFrame) -> Estimates:
    """Survival at the months with a band from resampled patients.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    months : at which survival is asked for
    draws : all chunks of `turnbull_draws`

    Returns
    -------
    Estimates
        A row a month on the scale `probability`; std_error is the standard deviation of the resamples (Efron 1979,
        doi:10.1214/aos/1176344552) with the variance times m / (m - 1), m the patients with a failure. Percentiles of
        the resamples lie too high where failures are few: in simulated series they hold the truth 90 % of the time,
        this interval 96 % (tests/benchmarks/coverage.py).

    Source: see `turnbull` and `log_log_interval`.
    """
    left, right, patient = _told(implants)
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="probability",
        method=METHOD,
        n_sites=len(left),
        n_patients=len(pd.unique(patient)),
        n_events=int(np.isfinite(right).sum()),
        note=remark("resamples", n_resamples=draws["replicate"].nunique()),
    )
    left_out = left_out_table(ANALYSIS, "all", [(NEVER_IN_FUNCTION, len(implants) - len(left))])
    try:
        if len(left) == 0:
            raise NotFitted(remark("none_followed"))
        intervals = innermost(left, right)
        model = turnbull(intervals, np.bincount(intervals.which, minlength=len(intervals)))
    except NotFitted as why:
        rows = [fit.row(f"{month:g}", problem=str(why)) for month in months]
        return Estimates(results_table(rows), left_out)

    of_month = draws.astype(float).groupby("months")  # an empty table knows no types
    spread = of_month[["survival", "naive_survival"]].std().reindex(np.asarray(months, float))
    n_failing = len(pd.unique(patient[np.isfinite(right)]))
    std_error = spread["survival"].to_numpy() * np.sqrt(n_failing / max(n_failing - 1, 1))
    survival = model.survival(np.asarray(months, float))[0]
    rows, effects = [], []
    for month, s, se, naive in zip(months, survival, std_error, spread["naive_survival"], strict=True):
        row = month_row(fit, month, s, se, last_month=np.max(left))
        rows.append(row)
        if np.isfinite(row["std_error"]):
            effects += fit.design_effect_rows([row["term"]], [se], [naive])
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def month_row(fit: Fit, month: float, survival: float, std_error: float, last_month: float) -> dict:
    """Survival at a month: an interval where there is one, else the reason why not."""
    term = f"{month:g}"
    if np.isnan(survival):
        return fit.row(term, problem=remark("last_visit_in_function", months=last_month))
    if survival > 1 - NO_STD_ERROR:
        return fit.row(term, 1.0, problem=remark("no_failure_by_then"))
    if survival < NO_STD_ERROR:
        return fit.row(term, 0.0, problem=remark("all_failed"))
    if fit.n_patients < 2:
        return fit.row(term, survival, problem=remark("one_patient_followed"))
    if not std_error > NO_STD_ERROR:
        return fit.row(term, survival, problem=ZERO_STD_ERROR)
    low, high = (float(limit) for limit in log_log_interval(survival, std_error))
    return fit.row(term, survival, std_error, conf_low=low, conf_high=high, conf_level=CONF_LEVEL)


def _told(implants: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Left and right ends and patients of the implants that tell anything."""
    left, right = failure_intervals(implants)
    tells = seen_after_placement(implants)
    return left[tells], right[tells], implants["patient_id"].to_numpy()[tells]
