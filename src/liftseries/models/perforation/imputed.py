"""The perforation model with its missing terms imputed, beside the complete cases of perforation.gee."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.gee import logistic_gee
from liftseries.estimators.intervals import NotFitted
from liftseries.models.perforation.gee import bias_reduced_note
from liftseries.models.shared.design import design_matrix
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
from liftseries.models.shared.outcomes import PERFORATION_UNKNOWN, known_perforation
from liftseries.models.shared.results import Fit, few_events_note, left_out_table
from liftseries.models.shared.separation import refuse_infinite_odds

ANALYSIS = "perforation.imputed"
TOPIC = 3  # of the random numbers, so that no two analyses draw the same


def perforation_imputed_draws(
    cases: pd.DataFrame,
    terms: Sequence[str],
    auxiliary: Sequence[str],
    patient_columns: Sequence[str],
    seed: int,
    first: int,
    n: int,
    iterations: int,
) -> pd.DataFrame:
    """The GEE on completed sets, one chunk of them.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it; sites of unknown perforation stay out
    terms, auxiliary : columns of `cases`
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
        chain = _chain(cases, terms, auxiliary, patient_columns)
    except NotFitted:
        return draws_table([])
    _, event = known_perforation(chain.table)
    rows = []
    for number, table in enumerate(completed_sets(chain, seed, TOPIC, first, n, iterations), start=first):
        design = design_matrix(table, terms)
        try:
            refuse_infinite_odds(design, event)
            model = logistic_gee(design.matrix, event, table["patient_id"].to_numpy())
        except NotFitted as why:
            rows.append((number, "", np.nan, np.nan, np.nan, str(why)))
        else:
            rows += set_rows(number, design.names, model)
    return draws_table(rows)


def fit_perforation_imputed(
    cases: pd.DataFrame,
    terms: Sequence[str],
    auxiliary: Sequence[str],
    patient_columns: Sequence[str],
    draws: pd.DataFrame,
) -> ImputedEstimates:
    """Log odds of a perforation, imputed sets pooled.

    Parameters
    ----------
    cases, terms, auxiliary, patient_columns : as for `perforation_imputed_draws`
    draws : all its chunks

    Returns
    -------
    ImputedEstimates
        A row a term on the scale `log_odds`.

    Source: see `pooled` and `completed_sets`.
    """
    known, perforated = known_perforation(cases)
    used = cases.loc[known]
    left_out = left_out_table(ANALYSIS, "all", [(PERFORATION_UNKNOWN, int((~known).sum()))])
    n_patients, n_events = used["patient_id"].nunique(), int(perforated.sum())
    try:
        chain = _chain(cases, terms, auxiliary, patient_columns)
        completed, models, why_not = starting_set(chain), chain.models(), ""
    except NotFitted as why:
        completed, models, why_not = used, no_models(), str(why)
    design = design_matrix(completed, terms)
    few = few_events_note(n_events, len(design.names) - 1)
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="log_odds",
        method=METHOD,
        n_sites=len(used),
        n_patients=n_patients,
        n_events=n_events,
        note=joined(bias_reduced_note(n_patients), *few),
    )
    return pooled_estimates(fit, design, draws, models, left_out, why_not)


def _chain(cases, terms, auxiliary, patient_columns) -> Chain:
    known, perforated = known_perforation(cases)
    used = cases.loc[known].reset_index(drop=True)
    if len(used) == 0:
        raise NotFitted(remark("perforation_not_recorded"))
    outcome = {"perforation": perforated[known]}
    chain = chain_of(used, terms, auxiliary, outcome, patient_columns)
    refuse_nothing_missing(used, chain.models(), terms)
    return chain
