"""The attack on curves and intervals: what they tell of counts that are withheld, by enumeration.

An estimate leaves where the counts are told that it is worked out from; so little should be left to find here. This
takes nothing of that for granted: it reads what is printed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.disclosure.declared import MANY_PATIENTS, Counted
from liftseries.disclosure.enumeration import Range, counts_agreeing, degrees_of_freedom, failures_between
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.estimators.proportion import largest_risk
from liftseries.release.digits import LARGEST_LOG, SHARE, SHARE_OF_FEW
from liftseries.release.entries import RESULTS, n_of_share
from liftseries.release.masking import Masked
from liftseries.report.kit.numbers import FEW_SITES
from liftseries.report.kit.tables.cells import PERCENT_SCALES, RATIO_SCALES

COLUMNS = ["name", "value", "lower", "upper", "recovered"]
HALF_SHARE, HALF = 0.5 * 10.0**-SHARE, 0.005  # of a share of many sites; of any other number, and of a p


def enumerated(masked: Masked, smallest_cell: int) -> pd.DataFrame:
    """Counts behind curves and intervals that are not told: `name, value, lower, upper, recovered`.

    Parameters
    ----------
    masked : what leaves
    smallest_cell : k
        Recovered is a number of failures of 1 to k - 1 that cannot be 1, or cannot be k - 1; a number of patients that
        is told nowhere and is known to within fewer than k.
    """
    found = [*_patients(masked, smallest_cell), *_failures(masked, smallest_cell)]
    return pd.DataFrame(found, columns=COLUMNS)


def _patients(masked: Masked, k: int) -> Iterator[tuple]:
    """Numbers of patients behind intervals by t beside their p, and behind bounds of one side, where none is told."""
    results, whole, ledger = masked.material.results, masked.whole.results, masked.ledger
    gone = ledger.withheld(masked.protection.withheld)
    most = int(pd.to_numeric(whole["n_patients"]).max()) if len(whole) else 0
    patients = pd.to_numeric(whole["n_patients"]).to_numpy(float)
    for at, row in enumerate(results.itertuples(index=False)):
        if row.n_patients >= 0 or pd.isna(row.estimate) or pd.isna(row.conf_low):
            continue
        behind = masked.behind[RESULTS][at]
        if behind is not None and ledger.is_told(Counted(behind.rests_on[0], "patients"), gone):
            continue
        if "one_sided_bound" in names_in(row.note):
            low, high = _agreeing_bound(row, most, n_of_share(behind, ledger.population) < FEW_SITES)
        elif pd.notna(row.p_value):
            low, high = _agreeing_t(row, most, n_of_share(behind, ledger.population) < FEW_SITES)
        else:
            continue
        if math.isnan(low) or high >= MANY_PATIENTS:  # from there on the printed digits are those of the normal one
            high = math.inf
        yield f"patients of row {at}", patients[at], low, high, low <= patients[at] <= high and high - low < k


def _half_of(share: float, of_few: bool) -> float:
    """How far a printed share may be from the full one; what would be none or all is told to a decimal more."""
    return HALF if of_few and 0 < share < 1 and round(share, SHARE_OF_FEW) == share else HALF_SHARE


def _agreeing_bound(row, most: int, of_few: bool) -> Range:
    told = row.conf_high if row.estimate == 0 else 1 - row.conf_low
    half = _half_of(round(told, SHARE), of_few)
    n = [n for _, n in counts_agreeing(lambda x, n: [largest_risk(n) if x == 0 else -1.0], [told], half, most)]
    return (min(n), max(n)) if n else (math.nan, math.nan)


def _agreeing_t(row, most: int, of_few: bool) -> Range:
    numbers = [_rounded_from(value, row.scale, of_few) for value in (row.estimate, row.conf_low, row.conf_high)]
    p = (0.0, 0.01) if row.p_value == 0 else (row.p_value - HALF, row.p_value + HALF)
    return degrees_of_freedom(*numbers, p, max(most, MANY_PATIENTS), CONF_LEVEL)


def _rounded_from(value: float, scale: str, of_few: bool) -> Range:
    """What the full number may be."""
    if scale in RATIO_SCALES and abs(value) < LARGEST_LOG:
        ratio = np.exp(value)
        half = HALF if ratio < 100 else 0.5
        return float(np.log(max(ratio - half, 1e-9))), float(np.log(ratio + half))
    half = _half_of(value, of_few) if scale in PERCENT_SCALES else HALF
    return value - half, value + half


def _failures(masked: Masked, k: int) -> Iterator[tuple]:
    """Failures between the months at which a curve is told."""
    curves, at_risk = masked.material.table("survival_curves"), masked.material.table("survival_at_risk")
    if curves.empty or at_risk.empty:
        return
    behind, population = masked.behind["survival_curves"], masked.ledger.population
    failed = [one.gives_away[0].members for one in behind]
    told = curves.assign(row=range(len(curves))).merge(at_risk, on=["subset", "months"])
    for subset, rows in told.groupby("subset"):
        rows = rows[rows["survival"].notna() & rows["n_at_risk"].gt(0)].sort_values("months")
        for one, other in zip(rows.iloc[:-1].itertuples(), rows.iloc[1:].itertuples(), strict=True):
            numbers = (one.n_at_risk, other.n_at_risk)
            half = HALF if n_of_share(behind[one.row], population) < FEW_SITES else HALF_SHARE
            low, high = failures_between(one.survival, other.survival, numbers, half)
            between = failed[other.row] & ~failed[one.row]
            is_small = 1 <= population.n_patients(between) < k
            name = f"failures of {subset} from month {one.months:g} to {other.months:g}"
            yield name, int(between.sum()), low, high, is_small and (low > 1 or high < k - 1)
