"""Time to failure known only to lie between two visits: Weibull regression, implants clustered in patients."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value, few_patients_df
from liftseries.estimators.kaplan_meier import log_log_interval
from liftseries.estimators.weibull import weibull_interval
from liftseries.models.shared.complete_cases import HazardData, hazard_data
from liftseries.models.shared.design import Design
from liftseries.models.shared.fitted import FAILED_BETWEEN, WEIBULL, FittedModel, fitted_model, why_not_used
from liftseries.models.shared.follow_up import NEVER_IN_FUNCTION, failure_intervals, seen_after_placement
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, left_out_table, results_table
from liftseries.models.shared.separation import coefficient_row, refuse_levels_without_failure

ANALYSIS, CURVE = "survival.interval", "survival.interval_curve"
METHOD = "weibull"
LOG_SHAPE = "(log shape)"
FOUND_AT_PLACEMENT = 0.5  # a failure found at month 0 happened by then: the model has no time 0


def fit_survival_interval(implants: pd.DataFrame, terms: Sequence[str], months: Sequence[float]) -> Estimates:
    """Log time to failure on the plan's terms, and the survival that the model gives.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    terms : columns of `implants`
    months : at which survival is asked for

    Returns
    -------
    Estimates
        `survival.interval`: `(intercept)`, a row a term and `(log shape)` on the scale `log_time`; below 50 patients by
        t. `survival.interval_curve`: survival at the months, the mean over the implants used, interval on the log-log
        scale with the variance times m / (m - 1), m the patients with a failure. No standard error is smaller than the
        model's own, as if implants were independent: with one failure or two a sandwich is close to nothing.

    Source: see `weibull_interval`. Both safeguards come from simulated series, tests/benchmarks/coverage.py.
    """
    left, right = failure_intervals(implants)
    tells = seen_after_placement(implants)
    followed = implants.loc[tells]
    data = hazard_data(followed, terms, intercept=True)
    design = data.design
    left, right = left[tells][design.used], right[tells][design.used]
    notes = [remark("found_at_placement")] if (right == 0).any() else []
    right = np.where(right == 0, FOUND_AT_PLACEMENT, right)
    df = few_patients_df(data.counts["n_patients"], len(design.names) + 1)
    shared = {"subset": "all", "method": METHOD, "df": df, "note": joined(*notes, *design.notes), **data.counts}
    fit = Fit(analysis=ANALYSIS, scale="log_time", **shared)
    curve = Fit(analysis=CURVE, scale="probability", **shared)
    effects, covariance = [], None
    try:
        data.refuse_empty(terms_needed=False)
        refuse_levels_without_failure(design, data.failed)
        model = weibull_interval(left, right, design.matrix, data.patient)
    except NotFitted as why:
        rows = data.empty_rows(fit, str(why), extra=[LOG_SHAPE])
        rows += [curve.row(f"{month:g}", problem=str(why)) for month in months]
    else:
        # A sandwich gathers its variance from patients whose implant failed, and is too small where they are few.
        std_error = np.maximum(model.std_error, model.naive_std_error)
        fitted = list(zip([*design.names, LOG_SHAPE], model.parameters, std_error, strict=True))
        rows = [coefficient_row(fit, term, b, se) for term, b, se in fitted]
        rows += [fit.row(term, problem=problem) for term, problem in design.problems.items()]
        effects = fit.design_effect_rows([*design.names, LOG_SHAPE], model.std_error, model.naive_std_error)
        seen = float(np.where(np.isfinite(right), right, left).max())
        survival, se, alone = model.mean_survival(design.matrix, months)
        n_failing = len(pd.unique(data.patient[data.failed]))
        held = np.maximum(se * np.sqrt(n_failing / max(n_failing - 1, 1)), alone)
        told = curve_rows(curve, months, survival, held, seen)
        stated = np.isfinite([row["std_error"] for row in told])
        months_stated = [f"{month:g}" for month in np.array(months)[stated]]
        effects += curve.design_effect_rows(months_stated, se[stated], alone[stated])
        rows += told
        covariance = model.covariance
    fitted = (model_of(implants, tells, design, covariance),)
    return Estimates(
        results_table(rows), left_out_of(data, tells), design_effects=results_table(effects), fitted=fitted
    )


def left_out_of(data: HazardData, tells: np.ndarray) -> pd.DataFrame:
    """The implants left out; `tells`, shape (n_followed,), are those seen after placement."""
    not_seen = left_out_table(ANALYSIS, "all", [(NEVER_IN_FUNCTION, int((~tells).sum()))])
    return pd.concat([not_seen, data.left_out(ANALYSIS)], ignore_index=True)


def model_of(implants: pd.DataFrame, tells: np.ndarray, design: Design, covariance: np.ndarray | None) -> FittedModel:
    """The model for whoever refits it; its covariance is the clustered sandwich."""
    reasons = np.full(len(implants), NEVER_IN_FUNCTION, object)
    reasons[tells] = design.reasons
    why_not = why_not_used(implants, reasons)
    parts = ANALYSIS, METHOD, FAILED_BETWEEN, WEIBULL, design, why_not, covariance
    return fitted_model(*parts, further=[LOG_SHAPE])


def curve_rows(fit: Fit, months, survival, std_error, last_month: float) -> list[dict]:
    """Survival at the months; empty beyond the last visit, since a model would go on for ever."""
    rows = []
    low, high = log_log_interval(survival, std_error, critical_value(fit.df))
    for month, s, se, a, b in zip(months, survival, std_error, low, high, strict=True):
        if month > last_month:
            rows.append(fit.row(f"{month:g}", problem=remark("last_follow_up", months=last_month)))
        elif not se > NO_STD_ERROR:
            rows.append(fit.row(f"{month:g}", s, problem=ZERO_STD_ERROR))
        else:
            rows.append(fit.row(f"{month:g}", s, se, conf_low=a, conf_high=b, conf_level=CONF_LEVEL))
    return rows
