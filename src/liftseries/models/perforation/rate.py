"""How often the membrane tears: the share of sites perforated, overall and by subset.

The report quotes `patients`: events over sites, its interval from the differences between patients. Beside it stand
Wilson's and the exact interval, which take sites as independent, and `cluster`, which weighs sites by how alike those
of a patient are, so that its share differs from events over sites. `unknown` is left out and counted.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit

from liftseries.base.remarks import joined, remark
from liftseries.estimators.gee import logistic_gee
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value
from liftseries.estimators.proportion import exact, wilson
from liftseries.models.shared.gates import RATIO
from liftseries.models.shared.levels import as_levels, subsets
from liftseries.models.shared.outcomes import PERFORATION_UNKNOWN, known_perforation
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, left_out_table, results_table
from liftseries.models.shared.share_rows import share_row

ANALYSIS = "perforation.rate"
PATIENTS, WILSON, EXACT, CLUSTER = "patients", "wilson", "exact", "cluster"
INDEPENDENT_SITES = {WILSON: wilson, EXACT: exact}
OF_A_CASE = ("rbh_mid_mm", "approach", "perforation_stage")  # what is told of a tear where there are too few to compare


@dataclass(frozen=True)
class RateEstimates(Estimates):
    """Shares of sites perforated.

    Attributes
    ----------
    few_cases : `rbh_mid_mm, approach, perforation_stage`
        The sites perforated, where there are too few of them for a ratio; else no row.
    """

    few_cases: pd.DataFrame


def fit_perforation_rate(cases: pd.DataFrame, by: Sequence[str] = ()) -> RateEstimates:
    """Share of sites perforated, its interval with patients as clusters; Wilson, exact and GEE beside it.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by : columns whose levels are subsets besides `all`

    Returns
    -------
    RateEstimates
        Four rows a subset (methods `patients`, the headline, `wilson`, `exact`, `cluster`), term `rate`, scale `risk`.

    Source: `patients`: see `share_of_patients`; Wilson 1927, doi:10.1080/01621459.1927.10502953; Clopper and Pearson
    1934, doi:10.1093/biomet/26.4.404; `cluster` is `logistic_gee` with a constant only, interval on the logit.
    """
    known, perforated = known_perforation(cases)
    patient = cases["patient_id"].to_numpy()
    rows: list[dict] = []
    effects: list[dict] = []
    left_out = []
    for subset, member in subsets(cases, by):
        used = member & known
        told, design_effects = rate_rows(subset, perforated[used], patient[used])
        rows += told
        effects += design_effects
        left_out.append(left_out_table(ANALYSIS, subset, [(PERFORATION_UNKNOWN, int((member & ~known).sum()))]))
    for column in by:
        n_without = int((as_levels(cases[column]).codes < 0).sum())
        left_out.append(left_out_table(ANALYSIS, column, [(remark("label_unknown", column=column), n_without)]))
    return RateEstimates(
        results_table(rows),
        pd.concat(left_out, ignore_index=True),
        design_effects=results_table(effects),
        few_cases=few_cases(cases, perforated),
    )


def few_cases(cases: pd.DataFrame, perforated: np.ndarray) -> pd.DataFrame:
    """The sites perforated, by residual height, where there are too few of them for a ratio; else no row."""
    torn = cases.loc[perforated if 0 < perforated.sum() < RATIO else np.zeros(len(cases), bool)]
    return torn.reindex(columns=list(OF_A_CASE)).sort_values("rbh_mid_mm", kind="stable").reset_index(drop=True)


def rate_rows(subset: str, event: np.ndarray, patient: np.ndarray) -> tuple[list[dict], list[dict]]:
    """The rows of one subset and their design effects: `event` and `patient`, shape (n,), of its sites known."""
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
        methods = (PATIENTS, *INDEPENDENT_SITES, CLUSTER)
        return [Fit(method=method, **shared).row("rate", problem=unknown) for method in methods], []

    quoted, effects = share_row(Fit(method=PATIENTS, **shared), "rate", event, patient)
    rows = [quoted]
    for method, interval_of in INDEPENDENT_SITES.items():
        low, high = interval_of(n_events, n)
        interval = {"conf_low": low, "conf_high": high, "conf_level": CONF_LEVEL}
        rows.append(Fit(method=method, **shared).row("rate", n_events / n, **interval))
    clustered, more_effects = cluster_row(event, patient, shared)
    return [*rows, *clustered], [*effects, *more_effects]


def cluster_row(event: np.ndarray, patient: np.ndarray, shared: dict) -> tuple[list[dict], list[dict]]:
    """The share that a GEE with a constant only gives, and its design effect."""
    fit = Fit(method=CLUSTER, **shared)
    if event.all() or not event.any():
        none = remark("all_perforated" if event.all() else "no_perforation")
        return [fit.row("rate", problem=joined(none, remark("bound_holds", method=PATIENTS)))], []
    try:
        model = logistic_gee(np.ones((len(event), 1)), event, patient)
    except NotFitted as why:
        return [fit.row("rate", problem=str(why))], []
    fit = Fit(method=CLUSTER, df=model.df, **shared)
    log_odds, se = float(model.coefficients[0]), float(model.std_error[0])
    risk = float(expit(log_odds))
    if not se > NO_STD_ERROR:
        return [fit.row("rate", problem=ZERO_STD_ERROR)], []
    low, high = expit(log_odds + np.array([-1, 1]) * critical_value(model.df) * se)
    interval = {"conf_low": low, "conf_high": high, "conf_level": CONF_LEVEL}
    effect = fit.design_effect_row("rate", se, float(model.naive_std_error[0]))
    note = joined(model.remark, negative_correlation_note(model.alpha), effect["note"])
    return [fit.row("rate", risk, risk * (1 - risk) * se, note=note, **interval)], [effect]


def negative_correlation_note(alpha: float) -> str:
    """A remark where sites of a patient come out less alike than those of different patients, else nothing."""
    return remark("correlation_below_zero") if alpha < 0 else ""
