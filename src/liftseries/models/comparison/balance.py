"""How alike the groups are: standardised differences before and after weighting, and what the weights leave."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.balancing import Weights, effective_number, standardised_difference
from liftseries.estimators.intervals import NotFitted
from liftseries.models.comparison.compared import ALL, Compared
from liftseries.models.comparison.contrasts import CRUDE
from liftseries.models.comparison.gates import effective_patients, weighted_gate
from liftseries.models.shared.design import INTERCEPT
from liftseries.models.shared.results import Fit

BALANCE, SAMPLE = "comparison.balance", "comparison.sample"
EFFECTIVE_PATIENTS, EFFECTIVE_SITES, NEAR_EDGE = "effective_patients", "effective_sites", "near_edge"
EDGE = 0.05  # a fitted share of a group below which a site has hardly a like in it
BINS = 20  # of the histograms of fitted shares


def subset_of(population: Compared, level: str) -> str:
    """`group=B`, or `as_drilled=plan, group=B`."""
    return f"group={level}" if population.subset == ALL else f"{population.subset}, group={level}"


def weights_or_why(population: Compared) -> dict[str, Weights | str]:
    """Method -> its weights, or why there are none."""
    found = {}
    for kind in population.asked.weights:
        try:
            found[kind] = population.weights(kind)
        except NotFitted as why:
            found[kind] = str(why)
    return found


def balance_rows(population: Compared) -> list[dict]:
    """A row a group, a coded column of X and a method: the standardised difference from the reference."""
    asked = population.asked
    weights = {CRUDE: None, **weights_or_why(population)}
    rows = []
    for level in asked.others:
        pair = (level, asked.reference)
        empty = asked.why_nothing or next(
            (population.why_empty(one) for one in pair if one not in population.levels), ""
        )
        for term, column in zip(population.design.names, population.design.matrix.T, strict=True):
            for method, weight in weights.items():
                if term == INTERCEPT:
                    continue
                fit = population.fit(BALANCE, "smd", method, pair)
                fit = replace(fit, subset=subset_of(population, level))
                why = empty or (weight if isinstance(weight, str) else "")
                rows.append(
                    fit.row(term, problem=why) if why else _balance_row(population, fit, level, term, column, weight)
                )
    return rows


def _balance_row(
    population: Compared, fit: Fit, level: str, term: str, column: np.ndarray, weights: Weights | None
) -> dict:
    pair = (level, population.asked.reference)
    value = np.ones(len(column)) if weights is None else weights.value
    of_group, of_reference = (population.of(one) for one in pair)
    found = standardised_difference(column, of_group, of_reference, value, is_level=term.endswith("]"))
    if np.isnan(found):
        return fit.row(term, problem=remark("no_variance_to_scale"))
    gate = "" if weights is None else weighted_gate(population, weights)
    return fit.row(term, found, note=gate, headline=fit.method == population.asked.weights[0] and not gate)


def sample_rows(population: Compared) -> list[dict]:
    """A row a group, a method and a term: effective patients, effective sites, share of sites near the edge."""
    rows = []
    scales = {EFFECTIVE_PATIENTS: "count", EFFECTIVE_SITES: "count", NEAR_EDGE: "share"}
    for level in population.asked.levels:
        for method, weights in weights_or_why(population).items():
            why = weights if isinstance(weights, str) else ""
            if level not in population.levels:
                why = population.why_empty(level)
            found = {} if why else _sample(population, weights, level)
            for term, scale in scales.items():
                fit = replace(population.fit(SAMPLE, scale, method, (level,)), subset=subset_of(population, level))
                if why:
                    rows.append(fit.row(term, problem=why))
                else:
                    rows.append(fit.row(term, found[term], headline=method == population.asked.weights[0]))
    return rows


def _sample(population: Compared, weights: Weights, level: str) -> dict[str, float]:
    member = population.of(level)
    return {
        EFFECTIVE_PATIENTS: effective_patients(population, weights, level),
        EFFECTIVE_SITES: effective_number(weights.value[member]),
        NEAR_EDGE: float((weights.fit.probability[member].min(axis=1) < EDGE).mean()),
    }


def propensity_histogram(found: Sequence[Compared]) -> pd.DataFrame:
    """`subset, of_group, group, low, high, n_sites`: how many sites of a group have a fitted share of `of_group`
    between two limits; no site's own share stands anywhere."""
    tables = []
    edges = np.linspace(0, 1, BINS + 1)
    for population in found:
        try:
            share = population.propensity.probability
        except NotFitted:
            continue
        for k, of_group in enumerate(population.levels):
            for level in population.levels:
                counts, _ = np.histogram(np.clip(share[population.of(level), k], 0, 1), edges)
                place = {"subset": population.subset, "of_group": of_group, "group": level}
                limits = {"low": np.round(edges[:-1], 2), "high": np.round(edges[1:], 2)}
                tables.append(pd.DataFrame({**place, **limits, "n_sites": counts}))
    columns = ["subset", "of_group", "group", "low", "high", "n_sites"]
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=columns)
