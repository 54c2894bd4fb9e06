"""What became of what a committee decided: the indicator of each action in the year audited, and in the years since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.models.audit.indicator_rows import told_of
from liftseries.models.audit.indicators import closing_of
from liftseries.models.audit.site_table import Recorded
from liftseries.models.audit.units import in_period
from liftseries.models.shared.levels import as_levels
from liftseries.study.indicators import Indicator, indicators_with

COLUMNS = "id unit indicator good counts since before before_counted before_events now now_counted now_events"
EVERYONE, CENTRE = "all", "centre"


@dataclass(frozen=True)
class ActionEffects:
    """What is known of actions.

    Attributes
    ----------
    effects : COLUMNS, a row an action that names an indicator
        `since` are the years of `now`, those of the period after the year audited; empty where there are none.
    """

    effects: pd.DataFrame


def list_action_effects(
    actions: pd.DataFrame,
    cases: pd.DataFrame,
    implants: pd.DataFrame,
    visits: pd.DataFrame,
    by: str,
    period: Sequence[int],
    expected: Mapping[str, Mapping],
    unrecorded: str,
    months: Sequence[float],
    data_until: str,
    depth_tolerance_mm: float,
    step_mm: float,
    own: Mapping[str, Mapping] | None = None,
) -> ActionEffects:
    """The indicator of each action then and now, set side by side; whether the one follows from the other stays open.

    Parameters
    ----------
    actions : as checked
    cases, implants, visits, by, period, expected, unrecorded, months, data_until, depth_tolerance_mm, step_mm, own : as
        of `fit_audit_indicators`
    """
    constants = {"depth_tolerance_mm": depth_tolerance_mm, "step_mm": step_mm}
    known = {indicator.name: indicator for indicator in indicators_with(own or {})}
    closing = closing_of(data_until, cases, visits)
    seen = pd.to_numeric(cases["surgery_year"]).dropna().unique() if "surgery_year" in cases else []
    years = sorted(int(year) for year in (period or seen))

    def of(indicator: Indicator, unit: str, told_years: Sequence[int]) -> tuple[float, float, float]:
        part = cases.loc[in_period(cases, told_years)].reset_index(drop=True)
        followed = implants.loc[implants["site_id"].isin(part["site_id"])].reset_index(drop=True)
        recorded = Recorded(part, followed, visits, closing, unrecorded, constants)
        everyone = np.ones(len(part), bool)
        groups = [("all", everyone), (f"{by}={unit}", members_of(part, by, unit))]
        term, month = indicator.at(months)[0]
        told, _ = list(told_of(indicator, term, month, recorded, groups, told_years, expected))[unit != EVERYONE]
        events = told.n_events if indicator.counts in ("sites", "patients", "cells") else np.nan
        return float(told.row["estimate"]), told.states["counted"], events

    rows = []
    for _, action in actions[actions["indicator"].notna()].iterrows():
        indicator, year, unit = known.get(str(action["indicator"])), int(action["year"]), str(action["unit"])
        if indicator is None:
            continue
        since = [one for one in years if one > year]
        before, now = of(indicator, unit, [year]), of(indicator, unit, since) if since else (np.nan, 0, np.nan)
        told = " ".join(map(str, since))
        rows.append((action["id"], unit, indicator.name, indicator.good, indicator.counts, told, *before, *now))
    return ActionEffects(pd.DataFrame(rows, columns=COLUMNS.split()))


def members_of(cases: pd.DataFrame, by: str, unit: str) -> np.ndarray:
    """The sites of a level of `by`, or else of a centre, or everyone's; shape (n,)."""
    if unit == EVERYONE:
        return np.ones(len(cases), bool)
    for column in (by, CENTRE):
        if column in cases:
            here = np.asarray(as_levels(cases[column]).astype(object)) == unit
            if here.any():
                return here
    return np.zeros(len(cases), bool)
