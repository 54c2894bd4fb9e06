"""The attack on curves and intervals: what they tell of counts that are withheld, by enumeration.

An estimate leaves where the counts are told that it is worked out from; so little should be left to find here. This
takes nothing of that for granted: it reads what is printed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np
import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.disclosure.counts import Count, set_of, value_of
from liftseries.disclosure.declared import MANY_PATIENTS, Counted
from liftseries.disclosure.enumeration import Range, counts_agreeing, degrees_of_freedom, failures_within
from liftseries.disclosure.needs import needs_of
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.estimators.proportion import exact, largest_risk, wilson
from liftseries.release.digits import HALF_OF_PLAIN, LARGEST_LOG, SHARE, Grid, half_of_share
from liftseries.release.entries import RESULTS, n_of_share
from liftseries.release.masking import Masked
from liftseries.report.kit.numbers import FEW_SITES
from liftseries.report.kit.tables.cells import PERCENT_SCALES, RATIO_SCALES

COLUMNS = ["name", "value", "lower", "upper", "recovered"]
# The intervals of a share that are functions of two counts alone, by analysis and method.
OF_TWO_COUNTS = {("perforation.rate", "wilson"): wilson, ("perforation.rate", "exact"): exact} | {
    (analysis, "patients"): exact for analysis in ("complications.rate", "complications.first_year")
}


def enumerated(masked: Masked, smallest_cell: int) -> pd.DataFrame:
    """Counts behind curves and intervals that are not told: `name, value, lower, upper, recovered`.

    Parameters
    ----------
    masked : what leaves
    smallest_cell : k
        Recovered is a number of failures, or events, of few patients that cannot be what it must be able to be (see
        `needs`); a number of patients that is told nowhere and is known to within fewer than k.
    """
    of_few = _judged(masked, [*_events(masked), *_failures(masked)], smallest_cell)
    return pd.DataFrame([*_patients(masked, smallest_cell), *of_few], columns=COLUMNS)


def _judged(masked: Masked, found: Iterable[tuple[str, Counted, float, float]], k: int) -> Iterator[tuple]:
    """What is found of counts, and whether one of few patients cannot be all that it must be able to be."""
    ledger, counts, ranges = masked.ledger, [], []
    for name, counted, low, high in found:
        members = ledger.population.patients_of(counted.members) if counted.unit == "patients" else counted.members
        counts.append(Count(name, ledger.with_earlier(members), counted.unit))
        ranges.append((low, high))
    earlier = ledger.before.counts if ledger.before else []
    needs = needs_of([*earlier, *counts], ledger.patients, k, ledger.left)
    need = {set_of(count): needs[count.name] for count in counts if count.name in needs}
    for count, (low, high) in zip(counts, ranges, strict=True):
        lowest, highest = need.get(set_of(count), (low, high))
        yield count.name, value_of(count, ledger.patients), low, high, low > lowest or high < highest


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


def _events(masked: Masked) -> Iterator[tuple[str, Counted, float, float]]:
    """Both counts behind an interval that is a function of them alone, where one of them is not told."""
    ledger = masked.ledger
    gone = ledger.withheld(masked.protection.withheld)
    for at, row in enumerate(masked.material.results.itertuples(index=False)):
        behind, interval = masked.behind[RESULTS][at], OF_TWO_COUNTS.get((row.analysis, row.method))
        if interval is None or behind is None or pd.isna(row.estimate) or pd.isna(row.conf_low):
            continue
        whole, events = behind.gives_away
        if ledger.is_told(whole, gone) and ledger.is_told(events, gone):
            continue
        half = half_of_share(row.estimate, n_of_share(behind, ledger.population) < FEW_SITES)
        share = max(row.estimate - half, 0.0), min(row.estimate + half, 1.0)
        printed, most = (row.conf_low, row.conf_high), ledger.population.n_sites
        n_told = row.n_patients if whole.unit == "patients" else row.n_sites
        agree = [(x, n) for x, n in counts_agreeing(interval, printed, half, most, share) if n_told < 0 or n == n_told]
        with_event = ledger.population.patients_of(events.members) if whole.unit == "patients" else events.members
        without = Counted(whole.members & ~with_event, whole.unit)
        for counted, numbers in ((events, [x for x, _ in agree]), (without, [n - x for x, n in agree])):
            low, high = (min(numbers), max(numbers)) if numbers else (math.nan, math.nan)
            yield f"{'events' if counted is events else 'those without'} of row {at}", counted, low, high


def _agreeing_bound(row, most: int, of_few: bool) -> Range:
    told = row.conf_high if row.estimate == 0 else 1 - row.conf_low
    half = half_of_share(round(told, SHARE), of_few)
    n = [n for _, n in counts_agreeing(lambda x, n: [largest_risk(n) if x == 0 else -1.0], [told], half, most)]
    return (min(n), max(n)) if n else (math.nan, math.nan)


def _agreeing_t(row, most: int, of_few: bool) -> Range:
    numbers = [_rounded_from(value, row.scale, of_few) for value in (row.estimate, row.conf_low, row.conf_high)]
    p = (0.0, 0.01) if row.p_value == 0 else (row.p_value - HALF_OF_PLAIN, row.p_value + HALF_OF_PLAIN)
    return degrees_of_freedom(*numbers, p, max(most, MANY_PATIENTS), CONF_LEVEL)


def _rounded_from(value: float, scale: str, of_few: bool) -> Range:
    """What the full number may be."""
    if scale in RATIO_SCALES and abs(value) < LARGEST_LOG:
        ratio = np.exp(value)
        half = HALF_OF_PLAIN if ratio < 100 else 0.5
        return float(np.log(max(ratio - half, 1e-9))), float(np.log(ratio + half))
    half = half_of_share(value, of_few) if scale in PERCENT_SCALES else HALF_OF_PLAIN
    return value - half, value + half


def _failures(masked: Masked) -> Iterator[tuple[str, Counted, float, float]]:
    """Failures between the months at which a curve is told."""
    curves, at_risk = masked.material.table("survival_curves"), masked.material.table("survival_at_risk")
    if curves.empty or at_risk.empty:
        return
    behind, population, coarse = masked.behind["survival_curves"], masked.ledger.population, masked.ledger.coarse
    failed = [one.gives_away[0].members for one in behind]
    told = curves.assign(row=range(len(curves))).merge(at_risk, on=["subset", "months"])
    for subset, rows in told.groupby("subset"):
        rows = rows[rows["survival"].notna() & rows["n_at_risk"].gt(0)].sort_values("months")
        for one, other in zip(rows.iloc[:-1].itertuples(), rows.iloc[1:].itertuples(), strict=True):
            numbers = (one.n_at_risk, other.n_at_risk)
            few = n_of_share(behind[one.row], population) < FEW_SITES
            told = [_rounded_to(each.survival, coarse.get(("survival_curves", each.row)), few) for each in (one, other)]
            low, high = failures_within(*told, numbers)
            between = failed[other.row] & ~failed[one.row]
            name = f"failures of {subset} from month {one.months:g} to {other.months:g}"
            yield name, Counted(between), low, high


def _rounded_to(survival: float, grid: Grid | None, of_few: bool) -> Range:
    """What survival may be that is printed, as a grid tells it where it is told roundly."""
    half = grid.unit / 2 if grid else half_of_share(survival, of_few)
    return survival - half, survival + half
