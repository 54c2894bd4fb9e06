"""A share of sites compared between groups: as it is, standardised by a logistic model, and weighted."""

from __future__ import annotations

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.balancing import weighted_mean
from liftseries.estimators.g_computation import standardised_risks
from liftseries.estimators.intervals import NotFitted
from liftseries.models.comparison.compared import Compared
from liftseries.models.comparison.contrasts import (
    CRUDE,
    G_COMPUTATION,
    Found,
    Outcome,
    comparison_rows,
    found_or_why,
)
from liftseries.models.comparison.gates import g_computation_gate, weighted_gate
from liftseries.models.shared.separation import separating_terms
from liftseries.models.shared.share_rows import share_row


def share_rows(analysis: str, population: Compared, event: np.ndarray, ratio: bool = False) -> list[dict]:
    """Rows of a share: `risk[B]`, `difference[B]` and where asked for `ratio[B]`.

    Parameters
    ----------
    analysis
    population
    event : shape (n,), true/false, of its sites
    ratio : whether ratios are told
    """

    def crude_row(fit, term, level):
        member = population.of(level)
        return share_row(fit, term, event[member], population.patient[member], headline=False)[0]

    outcome = Outcome(
        analysis, "risk", "risk_difference", "risk", ratio=ratio, event=event, counted=event, crude_row=crude_row
    )
    answers = {
        CRUDE: weighted_means(population, event.astype(float), np.ones(len(event))),
        G_COMPUTATION: found_or_why(lambda: _standardised(population, event)),
    }
    for kind in population.asked.weights:
        answers[kind] = found_or_why(lambda kind=kind: balanced_means(population, event.astype(float), kind))
    return comparison_rows(population, outcome, answers)


def weighted_means(population: Compared, y: np.ndarray, weight: np.ndarray) -> Found:
    """Each group's Σ w y / Σ w, and its derivative in the log of each site's weight."""
    n_groups = len(population.levels)
    value, explicit = np.full(n_groups, np.nan), np.zeros((len(y), n_groups))
    for g in range(n_groups):
        member = population.group == g
        value[g], explicit[member, g] = weighted_mean(y[member], weight[member])
    return Found(value, explicit)


def balanced_means(population: Compared, y: np.ndarray, kind: str) -> Found:
    """The weighted means with the propensity fitted anew; raises NotFitted where its weights are refused."""
    weights = population.weights(kind)
    if why := weighted_gate(population, weights):
        raise NotFitted(why)
    found = weighted_means(population, y, weights.value)
    return Found(found.value, weights.through(found.influence))


def model_columns(population: Compared) -> np.ndarray:
    """X and the columns of the groups, shape (n, p); raises NotFitted where they cannot be told apart."""
    population.refuse_one_group()
    columns = np.column_stack([population.design.matrix, population.dummies])
    if np.linalg.matrix_rank(columns / np.linalg.norm(columns, axis=0)) < columns.shape[1]:
        raise NotFitted(remark("terms_separate"))
    return columns


def set_to_each(population: Compared, columns: np.ndarray) -> list[np.ndarray]:
    """Columns that end with those of the groups, every site set to each group."""
    n_groups = len(population.levels)
    before = columns[:, : columns.shape[1] - n_groups + 1]
    return [np.column_stack([before, np.tile(line[1:], (len(columns), 1))]) for line in np.eye(n_groups)]


def _standardised(population: Compared, event: np.ndarray) -> Found:
    columns = model_columns(population)
    if why := g_computation_gate(population, int(event.sum())):
        raise NotFitted(why)
    names = (*population.design.names, *population.levels[1:])
    if event.all() or not event.any() or separating_terms(columns, names, event):
        raise NotFitted(remark("terms_separate_events"))
    return Found(*standardised_risks(columns, event, set_to_each(population, columns)))
