"""How long implants last: Kaplan-Meier survival with a patient-clustered interval, overall and by subset."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, names_in, remark
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.estimators.kaplan_meier import kaplan_meier, log_log_interval, numbers_at
from liftseries.models.shared.levels import as_levels, subsets
from liftseries.models.shared.one_sided import PATIENTS, bound_rows
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, left_out_table, results_table

ANALYSIS = "survival.km"
METHOD = "infinitesimal_jackknife"


@dataclass(frozen=True)
class KaplanMeierEstimates(Estimates):
    """Survival at the plan's months, and what its figure is drawn from.

    Attributes
    ----------
    curves : `subset, months, survival, conf_low, conf_high`
        At 0, at every time of failure and at the last follow-up.
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
        One row a subset and month, term the month, scale `probability`. Beyond the last follow-up the
        estimate is empty; before the first failure it is 1 without an interval, and two more rows give one-sided
        bounds from those still under observation (`one_sided_patients`, `one_sided_sites`); `problem` says which.

    Source: see `kaplan_meier` and `log_log_interval`.
    """
    rows: list[dict] = []
    effects: list[dict] = []
    curves, at_risk = [], []
    for subset, member in subsets(implants, by):
        part = implants.loc[member]
        time, failed = part["months"].to_numpy(float), part["failed"].to_numpy(bool)
        estimate = kaplan_meier(time, failed, part["patient_id"].to_numpy())
        fit = Fit(
            analysis=ANALYSIS,
            subset=subset,
            scale="probability",
            method=METHOD,
            n_sites=len(part),
            n_patients=part["patient_id"].nunique(),
            n_events=int(failed.sum()),
        )
        survival, std_error = estimate.at(months)
        told = survival_rows(fit, months, survival, std_error, estimate.last_month)
        patient = part["patient_id"].to_numpy()
        for month, row in zip(months, told, strict=True):
            if "no_failure_by_then" in names_in(row["problem"]):
                bounds = bound_rows(fit, row["term"], patient[time >= month], 1.0)
                problem = joined(row["problem"], remark("bound_holds", method=PATIENTS))
                rows += [row | {"problem": problem}, *bounds]
            else:
                rows.append(row)
        naive = kaplan_meier(time, failed, np.arange(len(part))).at(months)[1]
        effects += [
            fit.design_effect_row(row["term"], row["std_error"], alone)
            for row, alone in zip(told, naive, strict=True)
            if np.isfinite(row["std_error"])
        ]

        if len(part) == 0:
            continue
        at = np.unique(np.r_[0.0, estimate.months, estimate.last_month])
        survival, std_error = estimate.at(at)
        low, high = log_log_interval(survival, std_error)
        curve = {"subset": subset, "months": at, "survival": survival, "conf_low": low, "conf_high": high}
        curves.append(pd.DataFrame(curve))
        at = np.unique(np.r_[np.arange(0.0, estimate.last_month + 1e-9, 12.0), np.asarray(months, float)])
        n_at_risk, n_failed, n_censored = numbers_at(time, failed, at)
        numbers = {"n_at_risk": n_at_risk, "n_failed": n_failed, "n_censored": n_censored}
        at_risk.append(pd.DataFrame({"subset": subset, "months": at, **numbers}))

    left_out = [left_out_table(ANALYSIS, "all", [])]
    for column in by:
        n_without = int((as_levels(implants[column]).codes < 0).sum())
        left_out.append(left_out_table(ANALYSIS, column, [(remark("label_unknown", column=column), n_without)]))
    return KaplanMeierEstimates(
        rows=results_table(rows),
        left_out=pd.concat(left_out, ignore_index=True),
        design_effects=results_table(effects),
        curves=_stacked(curves, ("subset", "months", "survival", "conf_low", "conf_high")),
        at_risk=_stacked(at_risk, ("subset", "months", "n_at_risk", "n_failed", "n_censored")),
    )


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
