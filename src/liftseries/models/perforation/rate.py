"""How often the membrane tears: the share of sites perforated, overall and by subset.

Three intervals stand side by side: Wilson and exact take sites as independent, `cluster` knows that sites
of one patient resemble each other. `unknown` is left out and counted.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.special import expit

from liftseries.base.remarks import joined, remark
from liftseries.estimators.gee import logistic_gee
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value
from liftseries.estimators.proportion import exact, wilson
from liftseries.models.shared.levels import as_levels, subsets
from liftseries.models.shared.one_sided import PATIENTS, bound_rows
from liftseries.models.shared.outcomes import PERFORATION_UNKNOWN, known_perforation
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, left_out_table, results_table

ANALYSIS = "perforation.rate"
WILSON, EXACT, CLUSTER = "wilson", "exact", "cluster"
INDEPENDENT_SITES = {WILSON: wilson, EXACT: exact}


def fit_perforation_rate(cases: pd.DataFrame, by: Sequence[str] = ()) -> Estimates:
    """Share of sites perforated with Wilson, exact and patient-clustered intervals.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by : columns whose levels are subsets besides `all`

    Returns
    -------
    Estimates
        Three rows a subset (methods `wilson`, `exact`, `cluster`), term `rate`, scale `risk`; where none or all
        perforated, two more with one-sided bounds (`one_sided_patients`, `one_sided_sites`).

    Source: Wilson 1927, doi:10.1080/01621459.1927.10502953; Clopper and Pearson 1934,
    doi:10.1093/biomet/26.4.404; `cluster` is `logistic_gee` with a constant only, interval on the logit.
    """
    known, perforated = known_perforation(cases)
    patient = cases["patient_id"].to_numpy()
    rows: list[dict] = []
    effects: list[dict] = []
    left_out = []
    for subset, member in subsets(cases, by):
        used = member & known
        told, design_effect = rate_rows(subset, perforated[used], patient[used])
        rows += told
        effects += design_effect
        left_out.append(left_out_table(ANALYSIS, subset, [(PERFORATION_UNKNOWN, int((member & ~known).sum()))]))
    for column in by:
        n_without = int((as_levels(cases[column]).codes < 0).sum())
        left_out.append(left_out_table(ANALYSIS, column, [(remark("label_unknown", column=column), n_without)]))
    left_out = pd.concat(left_out, ignore_index=True)
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def rate_rows(subset: str, event: np.ndarray, patient: np.ndarray) -> tuple[list[dict], list[dict]]:
    """The rows of one subset and its design effect: `event` and `patient`, shape (n,), of its sites known."""
    n, n_events = len(event), int(event.sum())
    shared = {
        "analysis": ANALYSIS,
        "subset": subset,
        "scale": "risk",
        "n_sites": n,
        "n_patients": len(pd.unique(patient)),
        "n_events": n_events,
    }
    if n == 0:
        unknown = remark("perforation_not_recorded")
        methods = (*INDEPENDENT_SITES, CLUSTER)
        return [Fit(method=method, **shared).row("rate", problem=unknown) for method in methods], []

    rows = []
    for method, interval_of in INDEPENDENT_SITES.items():
        low, high = interval_of(n_events, n)
        interval = {"conf_low": low, "conf_high": high, "conf_level": CONF_LEVEL}
        rows.append(Fit(method=method, **shared).row("rate", n_events / n, **interval))

    fit = Fit(method=CLUSTER, **shared)
    if n_events in (0, n):
        none = remark("no_perforation") if n_events == 0 else remark("all_perforated")
        why = joined(none, remark("bound_holds", method=PATIENTS))
        return [*rows, fit.row("rate", problem=why), *bound_rows(fit, "rate", patient, n_events / n)], []
    try:
        model = logistic_gee(np.ones((n, 1)), event, patient)
    except NotFitted as why:
        return [*rows, fit.row("rate", problem=str(why))], []
    fit = Fit(method=CLUSTER, df=model.df, **shared)
    log_odds, se = float(model.coefficients[0]), float(model.std_error[0])
    risk = float(expit(log_odds))
    if not se > NO_STD_ERROR:
        return [*rows, fit.row("rate", problem=ZERO_STD_ERROR)], []
    low, high = expit(log_odds + np.array([-1, 1]) * critical_value(model.df) * se)
    interval = {"conf_low": low, "conf_high": high, "conf_level": CONF_LEVEL}
    effect = fit.design_effect_row("rate", se, float(model.naive_std_error[0]))
    return [*rows, fit.row("rate", risk, risk * (1 - risk) * se, model.remark, **interval)], [effect]
