"""Why a contrast stays open though it has an interval: designs in which such intervals hold less than 93 % of the time.

    few with the event      fewer than 4 patients with the event, or without it, in a group
    few effective patients  fewer than 25 in a group, of a difference; of bone gain also fewer than six in ten
    uneven operators        who lean to a group; where they are tied to one, `contrasts` takes their variance
    years                   the two groups share a tenth of their years of surgery or less

Situation: these numbers are recomputed to the contract's formulas. Choice: they stay, and the row has a `problem`, so
that the report calls it open. Rival: another variance. Source: tests/benchmarks/comparison_coverage.py.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.comparison.compared import Compared
from liftseries.models.comparison.gates import effective_patients, operators_of

FEW_WITH_EVENT, FEW_EFFECTIVE = 4, 25  # patients of a group
EFFECTIVE_SHARE = 0.6  # of a group's patients
OPERATOR_SD = 0.7  # logit, about twofold odds: the upper end of what the coverage study has
OPERATOR_PART = 0.17  # of a measurement's standard deviation: what the coverage study has of depths
LARGEST_INFLATION = 1.17  # of a variance, at which 1.96 standard errors too short hold 93 %
YEARS_SHARED = 0.1  # of two groups' shares by year: up to it the groups are apart in time; our convention
RATIO, MONTHS, OF_SITES_MEANS = "log_risk_ratio", "months", "comparison.gain"


def doubts(
    population: Compared, pair: tuple[str, str], row: dict, event: np.ndarray | None, measured: np.ndarray | None
) -> Iterator[str]:
    """What keeps a contrast open whatever its interval says, as remarks.

    Parameters
    ----------
    population
    pair : the group and the reference
    row : the contrast, with `analysis`, `method`, `scale` and `std_error`
    event : shape (n,), true/false; None where the outcome is a measurement
    measured : shape (n,), of a measurement each site's own, of months in function those lost; None for a share
    """
    column = population.asked.column
    if years_apart(population, pair):
        yield remark("years_apart", column=column, level=pair[0], reference=pair[1])
    if event is not None and (few := _few_with_event(population, pair, event)):
        yield few
    if row["scale"] != RATIO:
        yield from _few_effective(population, pair, row["method"], row["analysis"] == OF_SITES_MEANS)
    shift = _shift_of_an_operator(population, pair, row["scale"], event, measured)
    if uneven_operators(population, pair, shift, row["std_error"]):
        yield remark("operators_uneven" if measured is None or row["scale"] == MONTHS else "operators_uneven_measured")


def years_apart(population: Compared, pair: tuple[str, str]) -> bool:
    """Whether two groups share a tenth of their years of surgery or less: the sum of the smaller shares by year."""
    if "surgery_year" not in population.sites:
        return False
    year = population.sites["surgery_year"].to_numpy(float, na_value=np.nan)
    known = ~np.isnan(year)
    shares = [pd.Series(year[population.of(one) & known]).value_counts(normalize=True) for one in pair]
    if not all(map(len, shares)):
        return False
    return float(pd.concat(shares, axis=1).fillna(0.0).min(axis=1).sum()) <= YEARS_SHARED


def _few_with_event(population: Compared, pair: tuple[str, str], event: np.ndarray) -> str:
    for with_event in (True, False):
        for one in pair:
            counted = population.of(one) & (event == with_event)
            n_patients = population.n_patients_of(counted)
            if n_patients < FEW_WITH_EVENT:
                name = "few_patients_with_event" if with_event else "few_patients_without_event"
                return remark(name, n_patients=n_patients, column=population.asked.column, level=one)
    return ""


def _few_effective(population: Compared, pair: tuple[str, str], method: str, of_means: bool) -> Iterator[str]:
    """Of a weighted contrast the effective patients, of a crude one the patients."""
    weights = population.weights(method) if method in population.asked.weights else None
    for one in pair:
        n_patients = population.n_patients_of(population.of(one))
        n = n_patients if weights is None else effective_patients(population, weights, one)
        if n < FEW_EFFECTIVE:
            yield remark("few_effective_patients", column=population.asked.column, level=one)
            return
        if of_means and n < EFFECTIVE_SHARE * n_patients:
            yield remark("small_effective_share", column=population.asked.column, level=one)
            return


def _shift_of_an_operator(population: Compared, pair, scale: str, event, measured) -> float:
    """What an operator one standard deviation from the mean does to a contrast of one operator a group.

    Shares: sd r (1 - r); log ratios: sd (1 - r); months: sd times the months lost; mm: a sixth of the standard
    deviation of the sites.
    """
    both = population.of(*pair)
    if measured is None:
        share = float(event[both].mean())
        return OPERATOR_SD * (1 - share) * (1.0 if scale == RATIO else share)
    if scale == MONTHS:
        return OPERATOR_SD * float(measured[both].mean())
    return OPERATOR_PART * float(measured[both].std(ddof=1))


def uneven_operators(population: Compared, pair: tuple[str, str], shift: float, std_error: float) -> bool:
    """Whether operators are shared out over two groups unevenly enough to matter; not where they are tied to them.

    Operators' effects would add the variance shift² Σ (w_1 - w_0)², w an operator's shares of the two groups' sites.
    They matter where that makes patients' intervals hold less than 93 % of the time: operators need not work in one
    group alone to be taken for the group.
    """
    found = operators_of(population, pair)
    if found.tied or found.n_operators < 2:
        return False
    return shift**2 * found.unevenness > (LARGEST_INFLATION - 1) * std_error**2
