"""The indicators of an audit: what each says of the series and of each unit, and how surely.

Definitions are data, schemas/indicators.yaml. *Worse* or *better* is said where the whole interval lies beyond the
standard and there are sites enough; without a standard there is no verdict.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.audit.indicator_rows import ANALYSIS, correlation_of, told_of
from liftseries.models.audit.site_table import Recorded
from liftseries.models.audit.units import in_period, tail_area, unit_names
from liftseries.models.audit.verdicts import judged, standard_of
from liftseries.models.shared.due import closing_month, month_in_words
from liftseries.models.shared.levels import as_levels
from liftseries.models.shared.results import Estimates, left_out_table, results_table
from liftseries.study.indicators import Indicator, indicators_with

STRIPS = (
    "unit indicator title months counts good counted unknown not_applicable not_due n_events value conf_low conf_high \
standard standard_kind standard_source standard_date verdict enough"
)
RECEIVED = "unit year expected received"


@dataclass(frozen=True)
class IndicatorEstimates(Estimates):
    """The indicators.

    Attributes
    ----------
    strips : STRIPS, a row a unit (`all` among them) and indicator: what the matrix and its strips are drawn from
    received : RECEIVED, a row a unit and year of the period in which cases were expected
    """

    strips: pd.DataFrame
    received: pd.DataFrame


def fit_audit_indicators(
    cases: pd.DataFrame,
    implants: pd.DataFrame,
    visits: pd.DataFrame,
    by: str,
    period: Sequence[int],
    standard: float | None,
    alert_sd: float,
    expected: Mapping[str, Mapping],
    unrecorded: str,
    names: Sequence[str],
    months: Sequence[float],
    data_until: str,
    depth_tolerance_mm: float,
    step_mm: float,
    own: Mapping[str, Mapping] | None = None,
) -> IndicatorEstimates:
    """Every indicator of the series and of each unit.

    Parameters
    ----------
    cases, implants, visits : of the run
    by, period, expected : see `audited`
    standard : of `perforation`, where its definition has none
    alert_sd : of the limit by which the sites needed are worked out
    unrecorded, data_until, depth_tolerance_mm, step_mm : see `Recorded`
    names, months : of the indicators, all where empty; of survival and follow-up
    own : a committee's own indicators and standards; see `study.indicators.indicators_with`

    Returns
    -------
    IndicatorEstimates
        Subsets `all` and the units, terms the names, `survival at 12` of those at the months of survival.
    """
    constants = {"depth_tolerance_mm": depth_tolerance_mm, "step_mm": step_mm}
    inside = in_period(cases, period)
    part = cases.loc[inside].reset_index(drop=True)
    followed = implants.loc[implants["site_id"].isin(part["site_id"])].reset_index(drop=True)
    recorded = Recorded(part, followed, visits, closing_of(data_until, cases, visits), unrecorded, constants)
    groups = groups_of(part, by, unit_names(cases, by, expected))
    rows, effects, strips = [], [], []
    for indicator, term, month in _asked(indicators_with(own or {}), names, months):
        held = standard_of(indicator, standard).at(month)
        found = told_of(indicator, term, month, recorded, groups, period, expected)
        correlation = correlation_of(indicator, month, recorded)
        for (subset, _), (told, effect) in zip(groups, found, strict=True):
            row, strip = judged(indicator, held, told, correlation, tail_area(alert_sd))
            unit = "all" if subset == "all" else subset.removeprefix(f"{by}=")
            rows.append(row)
            effects += effect
            strips.append({"unit": unit, "indicator": term, "title": indicator.title, "months": month, **strip})
    left_out = left_out_table(ANALYSIS, "all", [(remark("outside_period"), int((~inside).sum()))])
    return IndicatorEstimates(
        results_table(rows),
        left_out,
        design_effects=results_table(effects),
        strips=pd.DataFrame(strips, columns=STRIPS.split()),
        received=received_by_year(part, by, period, expected),
    )


def received_by_year(
    cases: pd.DataFrame, by: str, period: Sequence[int], expected: Mapping[str, Mapping]
) -> pd.DataFrame:
    """Cases received of those expected, a row a unit and year; RECEIVED. A year without a case has its row too."""
    column = np.asarray(as_levels(cases[by]).astype(object)) if by in cases else np.full(len(cases), None)
    year = np.full(len(cases), np.nan)
    if "surgery_year" in cases:
        year = cases["surgery_year"].to_numpy(float, na_value=np.nan)
    rows = [
        (str(unit), int(one), int(n), int(((column == str(unit)) & (year == int(one))).sum()))
        for unit, years in (expected or {}).items()
        for one, n in sorted(years.items(), key=lambda pair: int(pair[0]))
        if not period or int(one) in set(period)
    ]
    return pd.DataFrame(rows, columns=RECEIVED.split())


def _asked(
    known: Sequence[Indicator], names: Sequence[str], months: Sequence[float]
) -> Iterator[tuple[Indicator, str, float | None]]:
    """The indicators asked for, all where none is named, with their terms and months."""
    for indicator in known:
        if not names or indicator.name in names:
            yield from ((indicator, term, month) for term, month in indicator.at(months))


def closing_of(data_until: str, cases: pd.DataFrame, visits: pd.DataFrame) -> str:
    """The month of closing as it is written, or as all tables imply it, whatever the period."""
    return data_until or month_in_words(closing_month("", cases, visits))


def groups_of(cases: pd.DataFrame, by: str, names: Sequence[str]) -> list[tuple[str, np.ndarray]]:
    """Subset -> its sites: `all`, then each unit, also one without a site."""
    levels = as_levels(cases[by]) if by in cases else None
    everyone = np.ones(len(cases), bool)
    units = [(f"{by}={name}", ~everyone if levels is None else np.asarray(levels == name)) for name in names]
    return [("all", everyone), *units]
