"""How long implants last: Kaplan-Meier survival with a patient-clustered interval, overall and by subset."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, names_in, remark
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.estimators.kaplan_meier import KaplanMeier, kaplan_meier, log_log_interval, numbers_at
from liftseries.models.shared.gates import last_month_told
from liftseries.models.shared.levels import as_levels, subsets
from liftseries.models.shared.results import (
    NO_STD_ERROR,
    ZERO_STD_ERROR,
    Estimates,
    Fit,
    left_out_table,
    results_table,
    warned,
)
from liftseries.models.survival.corrected import METHOD as CORRECTED
from liftseries.models.survival.corrected import ByMonth, by_month, corrected_rows, interleaved

ANALYSIS = "survival.km"
METHOD = "infinitesimal_jackknife"


@dataclass(frozen=True)
class KaplanMeierEstimates(Estimates):
    """Survival at the plan's months, and what its figure is drawn from.

    Attributes
    ----------
    curves : `subset, months, survival, conf_low, conf_high`
        At 0, at every time of failure and at the plan's months, as far as enough implants are at risk.
    at_risk : `subset, months, n_at_risk, n_failed, n_censored`
        At 0, 12, 24 … and the plan's months: at risk just before that month, failed and censored before it,
        so that the three add up to the subset's implants (Morris 2019, doi:10.1136/bmjopen-2019-030215).
    """

    curves: pd.DataFrame
    at_risk: pd.DataFrame


def fit_survival_km(implants: pd.DataFrame, months: Sequence[float], by: Sequence[str] = ()) -> KaplanMeierEstimates:
    """Implant survival at given months.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    months : at which survival is asked for
    by : columns whose levels are subsets besides `all`

    Returns
    -------
    KaplanMeierEstimates
        Two rows a subset and month, term the month, scale `probability`: `infinitesimal_jackknife`, as R has it, and
        `corrected`, the headline while enough are at risk. Beyond the last follow-up the estimate is empty.

    Source: see `kaplan_meier`, `log_log_interval` and `corrected_rows`.
    """
    rows, effects, curves, at_risk = [], [], [], []
    for subset, member in subsets(implants, by):
        part = implants.loc[member]
        of_subset, effects_of_subset, estimate = rows_at(subset, part, months)
        rows += of_subset
        effects += effects_of_subset
        if len(part):
            curves.append(curve_of(subset, part, estimate, months))
            at_risk.append(at_risk_of(subset, part, months))
    return KaplanMeierEstimates(
        rows=results_table(warned(rows, effects)),
        left_out=levels_left_out(ANALYSIS, implants, by),
        design_effects=results_table(effects),
        curves=_stacked(curves, ("subset", "months", "survival", "conf_low", "conf_high")),
        at_risk=_stacked(at_risk, ("subset", "months", "n_at_risk", "n_failed", "n_censored")),
    )


def rows_at(subset: str, part: pd.DataFrame, months: Sequence[float]) -> tuple[list[dict], list[dict], KaplanMeier]:
    """The rows of a subset's implants, both methods in turn, their design effects, and the curve behind them."""
    time, failed, patient = of_implants(part)
    estimate = kaplan_meier(time, failed, patient)
    shared = {"n_sites": len(part), "n_patients": part["patient_id"].nunique(), "n_events": int(failed.sum())}
    fit = Fit(analysis=ANALYSIS, subset=subset, scale="probability", method=METHOD, **shared)
    survival, std_error = estimate.at(months)
    told = survival_rows(fit, months, survival, std_error, estimate.last_month)
    rows = interleaved(told, headline_rows(told, by_month(time, failed, patient, months), survival))
    naive = kaplan_meier(time, failed, np.arange(len(part))).at(months)[1]
    effects = [
        fit.design_effect_row(row["term"], row["std_error"], alone)
        for row, alone in zip(told, naive, strict=True)
        if np.isfinite(row["std_error"])
    ]
    return rows, effects, estimate


def of_implants(implants: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Months, whether it failed and whose it is, of each implant; all of shape (n,)."""
    return (
        implants["months"].to_numpy(float),
        implants["failed"].to_numpy(bool),
        implants["patient_id"].to_numpy(),
    )


def headline_rows(told: list[dict], seen: ByMonth, survival: np.ndarray) -> list[dict]:
    """The `corrected` rows beside those of the jackknife: log-log, or a bound."""
    for row in told:
        if "no_failure_by_then" in names_in(row["problem"]):
            row["problem"] = joined(row["problem"], remark("bound_holds", method=CORRECTED))
    return corrected_rows(told, seen, 1 - survival, lambda risk: 1 - risk, partial(log_log_interval, survival))


def curve_of(subset: str, part: pd.DataFrame, estimate: KaplanMeier, months: Sequence[float]) -> pd.DataFrame:
    """A subset's curve with the limits of its headline rows, as far as enough implants are at risk; else empty."""
    time, failed, patient = of_implants(part)
    end = last_month_told(time)
    at = np.unique(np.r_[0.0, estimate.months, np.asarray(months, float), end])
    at = at[at <= end]
    survival, std_error = estimate.at(at)
    seen = by_month(time, failed, patient, at)
    within = log_log_interval(survival, seen.std_error(std_error))
    bounds = [1 - risk for risk in reversed(seen.risk_bounds(1 - survival))]
    low, high = (np.where(np.isfinite(bound), bound, limit) for bound, limit in zip(bounds, within, strict=True))
    return pd.DataFrame({"subset": subset, "months": at, "survival": survival, "conf_low": low, "conf_high": high})


def at_risk_of(subset: str, part: pd.DataFrame, months: Sequence[float]) -> pd.DataFrame:
    """A subset's numbers at risk, failed and censored before each year and each of the months."""
    time, failed, _ = of_implants(part)
    at = np.unique(np.r_[np.arange(0.0, time.max() + 1e-9, 12.0), np.asarray(months, float)])
    n_at_risk, n_failed, n_censored = numbers_at(time, failed, at)
    numbers = {"n_at_risk": n_at_risk, "n_failed": n_failed, "n_censored": n_censored}
    return pd.DataFrame({"subset": subset, "months": at, **numbers})


def levels_left_out(analysis: str, implants: pd.DataFrame, by: Sequence[str]) -> pd.DataFrame:
    """Implants of which the level of a column is unknown, as rows of `Estimates.left_out`."""
    found = [left_out_table(analysis, "all", [])]
    for column in by:
        n_without = int((as_levels(implants[column]).codes < 0).sum())
        found.append(left_out_table(analysis, column, [(remark("label_unknown", column=column), n_without)]))
    return pd.concat(found, ignore_index=True)


def survival_rows(fit: Fit, months, survival, std_error, last_month: float) -> list[dict]:
    """Rows of one subset: an interval where there is one, else the reason why not."""
    rows = []
    low, high = log_log_interval(survival, std_error)
    for month, s, se, a, b in zip(months, survival, std_error, low, high, strict=True):
        term = f"{month:g}"
        if fit.n_sites == 0:
            rows.append(fit.row(term, problem=remark("none_followed")))
        elif np.isnan(s):
            rows.append(fit.row(term, problem=remark("last_follow_up", months=last_month)))
        elif s == 1:
            rows.append(fit.row(term, 1.0, problem=remark("no_failure_by_then")))
        elif s == 0:
            rows.append(fit.row(term, 0.0, problem=remark("all_failed")))
        elif fit.n_patients < 2:
            rows.append(fit.row(term, s, problem=remark("one_patient_followed")))
        elif not se > NO_STD_ERROR:
            rows.append(fit.row(term, s, problem=ZERO_STD_ERROR))
        else:
            rows.append(fit.row(term, s, se, conf_low=a, conf_high=b, conf_level=CONF_LEVEL))
    return rows


def _stacked(tables: list[pd.DataFrame], columns: tuple[str, ...]) -> pd.DataFrame:
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=list(columns))
