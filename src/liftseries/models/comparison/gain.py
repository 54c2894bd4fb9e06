"""How much bone is gained in each group, at 12 months."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
import pandas as pd

from liftseries.estimators.intervals import NotFitted
from liftseries.models.comparison.compared import Compared, asked_of, populations
from liftseries.models.comparison.contrasts import (
    CRUDE,
    G_COMPUTATION,
    Found,
    Outcome,
    comparison_rows,
    found_or_why,
)
from liftseries.models.comparison.gates import weighted_gate
from liftseries.models.comparison.measured import mixed_model
from liftseries.models.comparison.shares import weighted_means
from liftseries.models.gain.mixed import NO_BONE_HEIGHT, QUOTED_AT
from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.models.shared.results import Estimates, results_table

ANALYSIS = "comparison.gain"


def fit_comparison_gain(
    visits: pd.DataFrame,
    cases: pd.DataFrame,
    groups: str,
    reference: str,
    adjust_for: Sequence[str],
    weights: Sequence[str],
) -> Estimates:
    """Differences in bone gain at 12 months.

    Parameters
    ----------
    visits : the contract's visits
    cases, groups, reference, adjust_for, weights : as of `fit_comparison_perforation`

    Returns
    -------
    Estimates
        `difference[B]`, scale `mm`. Crude: the mixed model of the gain with group and months alone; g-computation: with
        X too; weighted: means of the sites' gains, each carried to 12 months along that model's slope.
    """
    asked = asked_of(cases, groups, reference, adjust_for, weights)
    gains = gain_at_visits(visits, cases, ())
    unmeasured = ~cases["site_id"].astype(object).isin(gains["site_id"]).to_numpy(bool)
    found = list(populations(cases, {NO_BONE_HEIGHT: unmeasured}, asked))
    return Estimates(
        results_table(row for population in found for row in _rows(population, gains)),
        pd.concat([population.left_out(ANALYSIS) for population in found], ignore_index=True),
    )


def _rows(population: Compared, gains: pd.DataFrame) -> list[dict]:
    place = pd.Series(np.arange(len(population.sites)), index=population.sites["site_id"].astype(object))
    used = gains.loc[gains["site_id"].astype(object).isin(place.index)]
    site = place.loc[used["site_id"].astype(object)].to_numpy(int)
    gain, months = used["gain_mm"].to_numpy(float), used["months"].to_numpy(float)

    n_visits = np.bincount(site, minlength=len(place))
    mean_gain = np.bincount(site, gain, len(place)) / np.maximum(n_visits, 1)

    @cache
    def adjusted():
        return mixed_model(population, gain, site, months, with_x=True)

    def weighted(kind: str) -> Found:
        weights = population.weights(kind)
        if why := weighted_gate(population, weights):
            raise NotFitted(why)
        _, slope, of_slope = adjusted()
        beyond = np.bincount(site, months - QUOTED_AT, len(place)) / n_visits
        carried = weighted_means(population, mean_gain - slope * beyond, weights.value)
        later = weighted_means(population, beyond, weights.value).value
        return Found(carried.value, weights.through(carried.influence) - np.outer(of_slope, later))

    answers = {
        CRUDE: found_or_why(lambda: mixed_model(population, gain, site, months, with_x=False)[0]),
        G_COMPUTATION: found_or_why(lambda: adjusted()[0]),
        **{kind: found_or_why(lambda kind=kind: weighted(kind)) for kind in population.asked.weights},
    }
    return comparison_rows(population, Outcome(ANALYSIS, "mm", "mm", measured=mean_gain), answers)
