"""How many implants fail where their patients may die first: Aalen-Johansen, clustered in patients."""

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.aalen_johansen import aalen_johansen
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.estimators.kaplan_meier import log_log_interval
from liftseries.models.shared.levels import subsets
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, results_table, warned
from liftseries.models.survival.corrected import by_month, corrected_rows, interleaved
from liftseries.models.survival.km import METHOD, levels_left_out, of_implants

ANALYSIS = "survival.competing"


def fit_survival_competing(implants: pd.DataFrame, months: Sequence[float], by: Sequence[str] = ()) -> Estimates:
    """Cumulative incidence of failure at given months, the patient's death competing.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    months : at which the incidence is asked for
    by : columns whose levels are subsets besides `all`

    Returns
    -------
    Estimates
        Two rows a subset and month, term the month, scale `probability`: `infinitesimal_jackknife` and `corrected`.

    Source: see `aalen_johansen` and `corrected_rows`; the interval is that of survival, on log(-log) of 1 - incidence.
    """
    rows, effects = [], []
    for subset, member in subsets(implants, by):
        part = implants.loc[member]
        time, failed, patient = of_implants(part)
        data = (time, failed, part["died"].to_numpy(bool))
        estimate, alone = aalen_johansen(*data, patient), aalen_johansen(*data, np.arange(len(part)))
        shared = {"n_sites": len(part), "n_patients": part["patient_id"].nunique(), "n_events": int(failed.sum())}
        fit = Fit(analysis=ANALYSIS, subset=subset, scale="probability", method=METHOD, **shared)
        failure, std_error, _ = estimate.at(months)
        told = incidence_rows(fit, months, failure, std_error, estimate.last_month)
        seen = by_month(time, failed, patient, months)
        rows += interleaved(told, corrected_rows(told, seen, failure, lambda risk: risk, limits_of(failure)))
        effects += [
            fit.design_effect_row(row["term"], row["std_error"], naive)
            for row, naive in zip(told, alone.at(months)[1], strict=True)
            if np.isfinite(row["std_error"])
        ]
    return Estimates(
        results_table(warned(rows, effects)),
        levels_left_out(ANALYSIS, implants, by),
        design_effects=results_table(effects),
    )


def limits_of(failure: np.ndarray) -> Callable:
    """The limits of an incidence by its standard error: log-log, of 1 - incidence."""

    def limits(std_error: np.ndarray):
        low, high = log_log_interval(1 - failure, std_error)
        return 1 - high, 1 - low

    return limits


def incidence_rows(fit: Fit, months, failure, std_error, last_month: float) -> list[dict]:
    """Rows of one subset: an interval where there is one, else the reason why not."""
    rows = []
    for month, f, se, a, b in zip(months, failure, std_error, *limits_of(failure)(std_error), strict=True):
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
