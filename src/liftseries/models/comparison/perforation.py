"""How often the membrane tears in each group, how alike the groups are, and what could explain a difference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from liftseries.models.comparison.balance import balance_rows, propensity_histogram, sample_rows
from liftseries.models.comparison.compared import asked_of, populations
from liftseries.models.comparison.shares import share_rows
from liftseries.models.comparison.strength import detectable_rows, evalue_rows
from liftseries.models.comparison.who import characteristics_of_groups, entangled, fallen_out
from liftseries.models.shared.outcomes import PERFORATION_UNKNOWN, known_perforation
from liftseries.models.shared.results import Estimates, results_table

ANALYSIS = "comparison.perforation"


@dataclass(frozen=True)
class ComparedPerforation(Estimates):
    """Tears compared, and who is compared.

    Attributes
    ----------
    propensity : see `propensity_histogram`
    entangled, fallen_out, characteristics : see the functions of `who`
    """

    propensity: pd.DataFrame
    entangled: pd.DataFrame
    fallen_out: pd.DataFrame
    characteristics: pd.DataFrame


def fit_comparison_perforation(
    cases: pd.DataFrame, groups: str, reference: str, adjust_for: Sequence[str], weights: Sequence[str]
) -> ComparedPerforation:
    """Share of sites perforated in each group, differences and ratios; balance, sample, E-values.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    groups : column whose levels are compared
    reference : level that the others are compared with
    adjust_for : columns of `cases`
    weights : methods of weighting; the first is the headline

    Returns
    -------
    ComparedPerforation
        Subsets `all` and `as_drilled=plan`; of balance and sample `group=B`.
    """
    known, perforated = known_perforation(cases)
    asked = asked_of(cases, groups, reference, adjust_for, weights)
    found = list(populations(cases.assign(_event=perforated), {PERFORATION_UNKNOWN: ~known}, asked))
    rows = {population.subset: _share_rows(population) for population in found}
    told = [row for each in rows.values() for row in each]
    told += [row for population in found for row in balance_rows(population)]
    told += [row for population in found for row in sample_rows(population)]
    told += [row for each in rows.values() for row in evalue_rows(each)]
    told += [row for each in rows.values() for row in detectable_rows(each)]
    return ComparedPerforation(
        rows=results_table(told),
        left_out=pd.concat([population.left_out(ANALYSIS) for population in found], ignore_index=True),
        propensity=propensity_histogram(found),
        entangled=entangled(cases, groups),
        fallen_out=fallen_out(found[0]),
        characteristics=characteristics_of_groups(cases, asked),
    )


def _share_rows(population) -> list[dict]:
    return share_rows(ANALYSIS, population, population.sites["_event"].to_numpy(bool), ratio=True)
