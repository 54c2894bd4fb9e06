"""Survival where failures are known only to lie between visits, without a model; patients resampled for its band."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted
from liftseries.estimators.kaplan_meier import log_log_interval
from liftseries.estimators.resampling import patients_drawn
from liftseries.estimators.turnbull import innermost, turnbull
from liftseries.models.shared.follow_up import NEVER_IN_FUNCTION, failure_intervals, seen_after_placement
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, left_out_table, results_table

ANALYSIS = "survival.turnbull"
TOPIC = 1  # of the random numbers, so that no two analyses draw the same
METHOD = "bootstrap"
RESAMPLED_TOLERANCE = 1e-8  # of any mass; a band is not read to more digits
CURVE_STEP_MONTHS = 3.0
DRAWS = ("replicate", "months", "survival", "naive_survival")


@dataclass(frozen=True)
class TurnbullEstimates(Estimates):
    """Survival at the plan's months, and what its figure is drawn from.

    Attributes
    ----------
    curves : `months, survival, conf_low, conf_high`
        Every three months and at the plan's months, as far as implants were followed.
    """

    curves: pd.DataFrame


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
    at = months_asked(implants, months)
    if n_patients < 2 or not np.isfinite(right).any():
        return pd.DataFrame(columns=list(DRAWS))
    intervals = innermost(left, right)
    counts = np.zeros((n_patients, len(intervals.holds)))
    np.add.at(counts, (codes, intervals.which), 1)
    drawn = patients_drawn(n_patients, seed, TOPIC, first, n)
    survival = turnbull(intervals, drawn @ counts, RESAMPLED_TOLERANCE).survival(at)
    # As if implants were independent: drawn one by one. What that changes is the design effect.
    one_by_one = np.zeros((len(left), len(intervals.holds)))
    one_by_one[np.arange(len(left)), intervals.which] = 1
    drawn = patients_drawn(len(left), seed, TOPIC, first, n)
    naive = turnbull(intervals, drawn @ one_by_one, RESAMPLED_TOLERANCE).survival(at)
    replicate = np.repeat(np.arange(first, first + n), len(at))
    columns = (replicate, np.tile(at, n), survival.ravel(), naive.ravel())
    return pd.DataFrame(dict(zip(DRAWS, columns, strict=True)))


def fit_survival_turnbull(implants: pd.DataFrame, months: Sequence[float], draws: pd.DataFrame) -> TurnbullEstimates:
    """Survival at the months with a band from resampled patients.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    months : at which survival is asked for
    draws : all chunks of `turnbull_draws`

    Returns
    -------
    TurnbullEstimates
        A row a month on the scale `probability`; std_error is the standard deviation of the resamples (Efron 1979,
        doi:10.1214/aos/1176344552) with the variance times m / (m - 1), m the patients with a failure. Percentiles of
        the resamples lie too high where failures are few: in simulated series they hold the truth 90 % of the time,
        this interval 96 % (tests/benchmarks/coverage.py).

    Source: see `turnbull` and `log_log_interval`.
    """
    left, right, patient = _told(implants)
    n_replicates = draws["replicate"].nunique()
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="probability",
        method=METHOD,
        n_sites=len(left),
        n_patients=len(pd.unique(patient)),
        n_events=int(np.isfinite(right).sum()),
        note=remark("resamples", n_resamples=n_replicates),
    )
    at = months_asked(implants, months)
    empty = pd.DataFrame({name: np.zeros(0) for name in ("months", "survival", "conf_low", "conf_high")})
    left_out = left_out_table(ANALYSIS, "all", [(NEVER_IN_FUNCTION, len(implants) - len(left))])
    try:
        if len(left) == 0:
            raise NotFitted(remark("none_followed"))
        intervals = innermost(left, right)
        model = turnbull(intervals, np.bincount(intervals.which, minlength=len(intervals.holds)))
    except NotFitted as why:
        rows = [fit.row(f"{month:g}", problem=str(why)) for month in months]
        return TurnbullEstimates(results_table(rows), left_out, curves=empty)

    survival = dict(zip(at, model.survival(at)[0], strict=True))
    of_month = draws.astype(float).groupby("months")  # an empty table knows no types
    resampled, naive = of_month["survival"], of_month["naive_survival"].std().to_dict()
    n_failing = len(pd.unique(patient[np.isfinite(right)]))
    spread = (resampled.std() * np.sqrt(n_failing / max(n_failing - 1, 1))).to_dict()
    std_error = np.array([spread.get(month, np.nan) for month in at])
    limits = log_log_interval(np.array([survival[month] for month in at]), np.where(std_error > 0, std_error, np.nan))
    low, high = (dict(zip(at, limit, strict=True)) for limit in limits)
    rows, effects = [], []
    for month in months:
        s, se, term = survival[month], spread.get(month, np.nan), f"{month:g}"
        if np.isnan(s):
            rows.append(fit.row(term, problem=remark("last_visit_in_function", months=np.max(left))))
        elif s > 1 - NO_STD_ERROR:
            rows.append(fit.row(term, 1.0, problem=remark("no_failure_by_then")))
        elif s < NO_STD_ERROR:
            rows.append(fit.row(term, 0.0, problem=remark("all_failed")))
        elif fit.n_patients < 2:
            rows.append(fit.row(term, s, problem=remark("one_patient_followed")))
        elif not se > NO_STD_ERROR:
            rows.append(fit.row(term, s, problem=ZERO_STD_ERROR))
        else:
            rows.append(fit.row(term, s, se, conf_low=low[month], conf_high=high[month], conf_level=CONF_LEVEL))
            effects += fit.design_effect_rows([term], [se], [naive[month]])
    curves = pd.DataFrame(
        {
            "months": at,
            "survival": [survival[month] for month in at],
            "conf_low": limits[0],
            "conf_high": limits[1],
        }
    )
    return TurnbullEstimates(
        rows=results_table(rows),
        left_out=left_out,
        design_effects=results_table(effects),
        curves=curves[curves["survival"].notna()],
    )


def months_asked(implants: pd.DataFrame, months: Sequence[float]) -> np.ndarray:
    """The plan's months and every three months of follow-up, rising."""
    last = float(implants["months"].max()) if len(implants) else 0.0
    return np.unique(np.r_[np.arange(0.0, last + 1e-9, CURVE_STEP_MONTHS), np.asarray(months, float)])


def _told(implants: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Left and right ends and patients of the implants that tell anything."""
    left, right = failure_intervals(implants)
    tells = seen_after_placement(implants)
    return left[tells], right[tells], implants["patient_id"].to_numpy()[tells]
