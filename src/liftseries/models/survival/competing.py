"""How many implants fail where their patients may die first: Aalen-Johansen, clustered in patients."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.aalen_johansen import aalen_johansen
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.estimators.kaplan_meier import log_log_interval
from liftseries.models.shared.levels import as_levels, subsets
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, left_out_table, results_table
from liftseries.models.survival.km import METHOD

ANALYSIS = "survival.competing"
CURVES = ("subset", "months", "failure", "conf_low", "conf_high", "death")


@dataclass(frozen=True)
class CompetingEstimates(Estimates):
    """Incidence of failure at the plan's months, and what its figure is drawn from.

    Attributes
    ----------
    curves : `subset, months, failure, conf_low, conf_high, death`
        At 0, at every event and at the last follow-up.
    """

    curves: pd.DataFrame


def fit_survival_competing(
    implants: pd.DataFrame, months: Sequence[float], by: Sequence[str] = ()
) -> CompetingEstimates:
    """Cumulative incidence of failure at given months, the patient's death competing.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    months : at which the incidence is asked for
    by : columns whose levels are subsets besides `all`

    Returns
    -------
    CompetingEstimates
        A row a subset and month, term the month, scale `probability`.

    Source: see `aalen_johansen`; the interval is that of survival, on log(-log) of 1 - incidence.
    """
    rows, curves, effects = [], [], []
    for subset, member in subsets(implants, by):
        part = implants.loc[member]
        data = (part["months"].to_numpy(float), part["failed"].to_numpy(bool), part["died"].to_numpy(bool))
        estimate = aalen_johansen(*data, part["patient_id"].to_numpy())
        alone = aalen_johansen(*data, np.arange(len(part)))
        fit = Fit(
            analysis=ANALYSIS,
            subset=subset,
            scale="probability",
            method=METHOD,
            n_sites=len(part),
            n_patients=part["patient_id"].nunique(),
            n_events=int(data[1].sum()),
        )
        failure, std_error, _ = estimate.at(months)
        told = incidence_rows(fit, months, failure, std_error, estimate.last_month)
        rows += told
        effects += [
            fit.design_effect_row(row["term"], row["std_error"], naive)
            for row, naive in zip(told, alone.at(months)[1], strict=True)
            if np.isfinite(row["std_error"])
        ]
        if len(part):
            at = np.unique(np.r_[0.0, estimate.months, estimate.last_month])
            failure, std_error, death = estimate.at(at)
            low, high = log_log_interval(1 - failure, std_error)
            columns = (subset, at, failure, 1 - high, 1 - low, death)
            curves.append(pd.DataFrame(dict(zip(CURVES, columns, strict=True))))
    left_out = [left_out_table(ANALYSIS, "all", [])]
    for column in by:
        n_without = int((as_levels(implants[column]).codes < 0).sum())
        left_out.append(left_out_table(ANALYSIS, column, [(remark("label_unknown", column=column), n_without)]))
    return CompetingEstimates(
        rows=results_table(rows),
        left_out=pd.concat(left_out, ignore_index=True),
        design_effects=results_table(effects),
        curves=pd.concat(curves, ignore_index=True) if curves else pd.DataFrame(columns=list(CURVES)),
    )


def incidence_rows(fit: Fit, months, failure, std_error, last_month: float) -> list[dict]:
    """Rows of one subset: an interval where there is one, else the reason why not."""
    rows = []
    low, high = log_log_interval(1 - failure, std_error)
    for month, f, se, a, b in zip(months, failure, std_error, 1 - high, 1 - low, strict=True):
        term = f"{month:g}"
        if fit.n_sites == 0:
            rows.append(fit.row(term, problem=remark("none_followed")))
        elif np.isnan(f):
            rows.append(fit.row(term, problem=remark("last_follow_up", months=last_month)))
        elif f == 0:
            rows.append(fit.row(term, 0.0, problem=remark("no_failure_by_then")))
        elif f > 1 - NO_STD_ERROR:
            rows.append(fit.row(term, 1.0, problem=remark("all_failed")))
        elif fit.n_patients < 2:
            rows.append(fit.row(term, f, problem=remark("one_patient_followed")))
        elif not se > NO_STD_ERROR:
            rows.append(fit.row(term, f, problem=ZERO_STD_ERROR))
        else:
            rows.append(fit.row(term, f, se, conf_low=a, conf_high=b, conf_level=CONF_LEVEL))
    return rows
