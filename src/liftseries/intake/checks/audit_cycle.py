"""Checks of the audit's cycle: units that an audit has, days that do not lie before the year audited."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from liftseries.base.numbers import band_labels
from liftseries.intake.draft.draft import Draft
from liftseries.study.plan import Plan
from liftseries.study.schema import AUDIT_TABLES

NAMED = ("text", "category", "integer")  # types of column whose values can be written as a unit


def check_audit_cycle(drafts: Mapping[str, Draft], by: str, units: frozenset[str] | None) -> None:
    """Finds units that are none and days that come too early; the drafts gain the findings.

    Parameters
    ----------
    drafts : those of other tables are passed over
    by : the column that `audit.by` names
    units : its levels, None where nobody can tell them
    """
    for draft in (drafts[name] for name in AUDIT_TABLES if name in drafts):
        if units is not None:
            _check_units(draft, by, units)
        for name, column in draft.table.columns.items():
            if column.type == "date":
                _check_day(draft, name)


def _check_units(draft: Draft, by: str, units: frozenset[str]) -> None:
    for name in draft.table.of_units:
        whole = draft.table.columns[name].when_empty
        other = draft.known(name) & ~draft.frame[name].isin([*units, whole]).to_numpy()
        advice = ", or clear the cell where every unit is meant" if whole else ""
        for index in np.flatnonzero(other):
            message = f"is no level of {by}, the column that `audit.by` names. Correct it{advice}."
            draft.find("unit_is_known", index, name, message)


def _check_day(draft: Draft, name: str) -> None:
    known = draft.known("year", name)
    for index in np.flatnonzero(known):
        day, year = draft.frame.at[index, name], int(draft.frame.at[index, "year"])
        if int(day[:4]) < year:
            message = f"{day} lies before {year}, the year audited. Correct one of the two."
            draft.find("day_is_not_before_the_year", index, name, message)


def units_of(plan: Plan, tables: Mapping[str, pd.DataFrame]) -> frozenset[str] | None:
    """The levels of the column that `audit.by` names, the centres, and units whose expected cases may never come.

    Parameters
    ----------
    plan
    tables : patients and sites, checked

    Returns
    -------
    None for a column that is worked out later and is no band
    """
    by = plan.audit["by"]
    bands = {"rbh_band": plan.rbh_bands_mm, "lift_band": plan.lift_bands_mm}
    expected = {str(unit) for unit in plan.audit["expected"]}
    if "patients" in tables and "centre" in tables["patients"]:
        expected |= set(map(str, tables["patients"]["centre"].dropna().unique()))
    if by in bands:
        return frozenset(band_labels(bands[by])) | expected
    for name in ("sites", "patients"):
        column = plan.schema[name].columns.get(by)
        if column and column.type in NAMED and name in tables:
            return frozenset({*map(str, tables[name][by].dropna().unique()), *map(str, column.levels)} | expected)
    return None


def units_of_drafts(plan: Plan, drafts: Mapping[str, Draft]) -> frozenset[str] | None:
    """As `units_of`, of tables on their way; None too where a cell of that column is at fault and may be the unit."""
    by = plan.audit["by"]
    read = {name: drafts[name] for name in ("sites", "patients") if name in drafts}
    for draft in (draft for draft in read.values() if by in draft.table.columns):
        if len(draft.sheets) < len(draft.sources) or not draft.sound[by].all():
            return None
    return units_of(plan, {name: draft.frame for name, draft in read.items()})
