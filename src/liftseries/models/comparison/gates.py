"""When a comparison says nothing: too few events, nobody alike, one operator a group, weights of a handful.

    a contrast          2 patients with an event in each group, 10 events in both, X not separating the groups
    g-computation       5 events for each column of X and each further group
    a weighted row      5 patients a column of X in the smallest group, 10 effective patients a group
    group and operator  where nine in ten operators of five sites or more have nine in ten of their sites in one group,
                        3 operators in each

A group also needs two patients without the event, for a share near 1 has as little to show as one near 0. What is said
and yet may hold less often than it claims: `doubts`.

Source: five events a term: Vittinghoff and McCulloch 2007, doi:10.1093/aje/kwk052; the rest is convention, and what
tests/benchmarks/comparison_coverage.py bears out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.balancing import Weights, effective_number
from liftseries.models.comparison.compared import Compared
from liftseries.models.shared.design import INTERCEPT, independent_columns
from liftseries.models.shared.gates import EVENTS_A_TERM
from liftseries.models.shared.separation import separating_terms

PATIENTS_WITH_EVENT, EVENTS_IN_BOTH = 2, 10
PATIENTS_A_COLUMN, EFFECTIVE_PATIENTS = 5, 10
SITES_OF_AN_OPERATOR, NINE_IN_TEN, OPERATORS_A_GROUP = 5, 0.9, 3


# ── a contrast ──────────────────────────────────────────────────────────────────────────────────────────────


def contrast_gate(population: Compared, level: str, event: np.ndarray | None) -> str:
    """Why a group is not compared with the reference, by any method; "" where it is.

    Parameters
    ----------
    population
    level : of the group
    event : shape (n,), true/false; None where the outcome is a measurement
    """
    asked = population.asked
    if asked.why_nothing:
        return asked.why_nothing
    pair = (level, asked.reference)
    for one in pair:
        if one not in population.levels:
            return population.why_empty(one)
        if population.n_patients_of(population.of(one)) < 2:
            return remark("one_patient_at_level", column=asked.column, level=one)
    return (
        _separated(population, pair)
        or _told_apart_from_operators(population, pair)
        or ("" if event is None else _few_events(population, pair, event))
    )


def enough_patients(population: Compared, level: str, event: np.ndarray) -> bool:
    """Whether two patients of a group have the event, and two are without it."""
    member = population.of(level)
    counts = (population.n_patients_of(member & (event == one)) for one in (True, False))
    return min(counts) >= PATIENTS_WITH_EVENT


def _few_events(population: Compared, pair: tuple[str, str], event: np.ndarray) -> str:
    column = population.asked.column
    for with_event in (True, False):
        for one in pair:
            counted = population.of(one) & (event == with_event)
            if population.n_patients_of(counted) < PATIENTS_WITH_EVENT:
                name = "one_patient_with_event" if with_event else "one_patient_without_event"
                return remark(name, column=column, level=one)
    n_events = int((population.of(*pair) & event).sum())
    return remark("too_few_events_to_compare", n_events=n_events) if n_events < EVENTS_IN_BOTH else ""


def _separated(population: Compared, pair: tuple[str, str]) -> str:
    """That X tells two groups apart."""
    both, names = population.of(*pair), population.design.names
    x = population.design.matrix[both]
    varying = {
        name: column for name, column in zip(names, x.T, strict=True) if name != INTERCEPT and np.ptp(column) > 0
    }
    kept, _ = independent_columns(varying, len(x))
    terms = separating_terms(
        np.column_stack([np.ones(len(x)), *(varying[name] for name in kept)]),
        (INTERCEPT, *kept),
        population.of(pair[0])[both],
    )
    if not terms:
        return ""
    named = {"column": population.asked.column, "level": pair[0], "reference": pair[1]}
    return remark("terms_separate_groups", terms=terms, **named)


# ── operators ───────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class Operators:
    """The operators of two groups.

    Attributes
    ----------
    code : shape (n,), whose site each of the population is; -1 where that is not known
    n_operators : J, of the two groups
    tied : whether nine in ten of those with five sites or more have nine in ten of their sites in one group
    of_group : how many operators have most of their sites in each of the two
    unevenness : Σ over operators of (their share of the one group's sites - of the other's)²
    """

    code: np.ndarray
    n_operators: int
    tied: bool
    of_group: tuple[int, int]
    unevenness: float


def operators_of(population: Compared, pair: tuple[str, str]) -> Operators:
    """The operators of two groups, by their sites in these two alone.

    An operator who works in one of the two and otherwise in a third group is tied to it as far as these two go. One is
    of the group that has most of their sites: a stray site elsewhere makes no operator of the other group. Sites
    whose operator is not known count for none.
    """
    code = population.operator
    used = population.of(*pair) & (code >= 0)
    n_sites = np.bincount(code[used])
    first = np.bincount(code[used], weights=population.of(pair[0])[used])[n_sites > 0]
    n_sites = n_sites[n_sites > 0]
    most = np.maximum(first, n_sites - first) >= NINE_IN_TEN * n_sites
    counted = n_sites >= SITES_OF_AN_OPERATOR
    tied = bool(counted.any() and most[counted].mean() >= NINE_IN_TEN)
    of_first = 2 * first > n_sites
    of_group = int(of_first.sum()), int((2 * first < n_sites).sum())
    shares = [part / max(part.sum(), 1) for part in (first, n_sites - first)]
    return Operators(code, len(n_sites), tied, of_group, float(((shares[0] - shares[1]) ** 2).sum()))


def _told_apart_from_operators(population: Compared, pair: tuple[str, str]) -> str:
    found = operators_of(population, pair)
    few = [one for one, n in zip(pair, found.of_group, strict=True) if n < OPERATORS_A_GROUP]
    if not (found.tied and few):
        return ""
    return remark("no_operator_of_both", column=population.asked.column, level=few[0])


# ── a method ────────────────────────────────────────────────────────────────────────────────────────────────


def g_computation_gate(population: Compared, n_events: int) -> str:
    """Why a model on group and X is not fitted; "" where it is."""
    n_coefficients = len(population.design.names) + len(population.levels) - 1
    if n_events >= EVENTS_A_TERM * n_coefficients:
        return ""
    return remark("too_few_events_for_model", n_events=n_events, n_coefficients=n_coefficients)


def weighted_gate(population: Compared, weights: Weights) -> str:
    """Why nothing weighted is said; "" where it is."""
    n_columns = len(population.design.names)
    patients = [population.n_patients_of(population.of(level)) for level in population.levels]
    if min(patients) < PATIENTS_A_COLUMN * n_columns:
        return remark("too_few_patients_to_weigh", n_patients=min(patients), n_coefficients=n_columns)
    for level in population.levels:
        if effective_patients(population, weights, level) < EFFECTIVE_PATIENTS:
            return remark("too_few_effective_patients", column=population.asked.column, level=level)
    return ""


def effective_patients(population: Compared, weights: Weights, level: str) -> float:
    """How many patients of equal weight a group's are worth, a patient's weights in it summed."""
    member = population.of(level)
    sums = np.bincount(population.patient[member], weights=weights.value[member], minlength=population.n_patients)
    return effective_number(sums)
