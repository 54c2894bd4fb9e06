"""The hazard model with its missing terms imputed, beside the complete cases of survival.cox."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.cox import cox_regression
from liftseries.estimators.intervals import NotFitted
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.gates import MANY_EVENTS
from liftseries.models.shared.imputation import Chain, chain_of, completed_sets, starting_set
from liftseries.models.shared.imputed import (
    METHOD,
    ImputedEstimates,
    draws_table,
    no_models,
    pooled_estimates,
    refuse_nothing_missing,
    set_rows,
)
from liftseries.models.shared.results import Fit, few_events_note, left_out_table
from liftseries.models.shared.separation import refuse_infinite_hazards
from liftseries.models.survival.cox import PENALISED

ANALYSIS = "survival.imputed"
TOPIC = 4  # of the random numbers, so that no two analyses draw the same


def survival_imputed_draws(
    implants: pd.DataFrame,
    terms: Sequence[str],
    auxiliary: Sequence[str],
    patient_columns: Sequence[str],
    seed: int,
    first: int,
    n: int,
    iterations: int,
) -> pd.DataFrame:
    """The Cox model on completed sets, one chunk of them.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    terms, auxiliary : columns of `implants`
    patient_columns : columns that have one value a patient
    seed : of the study
    first, n : the number of the first set, and how many
    iterations : of the chained equations

    Returns
    -------
    `set, term, estimate, variance, naive_variance, problem`
        Empty where nothing is to be imputed.
    """
    try:
        chain = _chain(implants, terms, auxiliary, patient_columns)
    except NotFitted:
        return draws_table([])
    months, failed = implants["months"].to_numpy(float), implants["failed"].to_numpy(bool)
    rows = []
    for number, table in enumerate(completed_sets(chain, seed, TOPIC, first, n, iterations), start=first):
        design = design_matrix(table, terms, intercept=False)
        try:
            refuse_infinite_hazards(design, months, failed)
            if not design.names:
                raise NotFitted(remark("no_term_to_compare"))
            model = cox_regression(months, failed, design.matrix, table["patient_id"].to_numpy())
        except NotFitted as why:
            rows.append((number, "", np.nan, np.nan, np.nan, str(why)))
        else:
            rows += set_rows(number, design.names, model)
    return draws_table(rows)


def fit_survival_imputed(
    implants: pd.DataFrame,
    terms: Sequence[str],
    auxiliary: Sequence[str],
    patient_columns: Sequence[str],
    draws: pd.DataFrame,
) -> ImputedEstimates:
    """Log hazard of failure, imputed sets pooled.

    Parameters
    ----------
    implants, terms, auxiliary, patient_columns : as for `survival_imputed_draws`
    draws : all its chunks

    Returns
    -------
    ImputedEstimates
        A row a term on the scale `log_hazard`.

    Source: see `pooled` and `completed_sets`; outcome in the imputation model: White and Royston 2009,
    doi:10.1002/sim.3618.
    """
    n_failed = int(implants["failed"].sum())
    try:
        chain = _chain(implants, terms, auxiliary, patient_columns)
        completed, models, why_not = starting_set(chain), chain.models(), ""
    except NotFitted as why:
        completed, models, why_not = implants, no_models(), str(why)
    design = design_matrix(completed, terms, intercept=False)
    instead = remark("quoted_instead", analysis=PENALISED) if n_failed < MANY_EVENTS else ""
    few = (*few_events_note(n_failed, len(design.names)), instead)
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="log_hazard",
        method=METHOD,
        n_sites=len(implants),
        n_patients=implants["patient_id"].nunique(),
        n_events=n_failed,
        note=joined(*few),
    )
    return pooled_estimates(fit, design, draws, models, left_out_table(ANALYSIS, "all", []), why_not)


def _chain(implants, terms, auxiliary, patient_columns) -> Chain:
    if len(implants) == 0:
        raise NotFitted(remark("none_followed"))
    months, failed = implants["months"].to_numpy(float), implants["failed"].to_numpy(bool)
    outcome = {"failed": failed, "cumulative_hazard": cumulative_hazard(months, failed)}
    chain = chain_of(implants.reset_index(drop=True), terms, auxiliary, outcome, patient_columns)
    refuse_nothing_missing(implants, chain.models(), terms)
    return chain


def cumulative_hazard(months: np.ndarray, failed: np.ndarray) -> np.ndarray:
    """The Nelson-Aalen estimate at each implant's own time, shape (n,).

    Source: Nelson 1972 and Aalen 1978; what White and Royston 2009 put into the imputation model.
    """
    times, when = np.unique(months, return_inverse=True)
    n = np.cumsum(np.bincount(when, minlength=len(times))[::-1])[::-1]
    return np.cumsum(np.bincount(when, weights=failed, minlength=len(times)) / n)[when]
