"""How each unit's funnel lay before cells were corrected: a flag may come with corrections, or go with them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from liftseries.models.audit.funnel import lies_clustered
from liftseries.models.audit.limits import Areas
from liftseries.models.audit.units import Audited, audited, tail_area
from liftseries.models.shared.levels import as_levels

OF_A_UNIT = "n_cells n_gone n_added before_events before_sites before_p_high before_flag after_p_high"
COLUMNS = f"unit {OF_A_UNIT}"


def list_units_as_filed(
    cases: pd.DataFrame,
    cases_as_filed: pd.DataFrame,
    corrected_cells: pd.DataFrame,
    by: str,
    period: Sequence[int],
    centre: str,
    standard: float | None,
    alert_sd: float,
    alarm_sd: float,
    expected: Mapping[str, Mapping],
) -> pd.DataFrame:
    """The clustered funnel of each unit on the study as first filed.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    cases_as_filed : the same without corrections; without a row where nothing was corrected
    corrected_cells : `table, patient_id, site_id, n_cells`; see `intake.as_filed`
    by, period, centre, standard, alert_sd, alarm_sd, expected : as of `fit_audit_funnel`

    Returns
    -------
    DataFrame
        COLUMNS, a row a unit. `n_cells` corrected of its sites, their patients, passes and visits, whichever unit they
        were filed under; `n_gone` of its sites as corrected that cannot be read as filed; `n_added` sites filed under
        it that stand there no longer, left out or under another unit or name. Numbers of the funnel are empty where it
        is not told.
    """
    if not len(cases_as_filed) and not len(corrected_cells):
        return pd.DataFrame(columns=COLUMNS.split())
    areas = Areas(tail_area(alert_sd), tail_area(alarm_sd))
    now, before = (audited(table, by, period, centre, standard, expected) for table in (cases, cases_as_filed))
    told_now, told = _by_unit(now, areas), _by_unit(before, areas)
    sites_now, sites_before = _sites_of(cases, by), _sites_of(cases_as_filed, by)
    rows = []
    for name in dict.fromkeys((*now.names, *before.names)):
        own, filed = (sites.get(name, pd.Index([])) for sites in (sites_now, sites_before))
        lay = told.get(name, {})
        rows.append(
            {
                "unit": name,
                "n_cells": _cells_of(corrected_cells, cases, own.union(filed)),
                "n_gone": len(own.difference(pd.Index(cases_as_filed["site_id"].astype(object)))),
                "n_added": len(filed.difference(own)),
                "before_events": lay.get("n_events", 0),
                "before_sites": lay.get("n_sites", 0),
                "before_p_high": lay.get("p_high", np.nan),
                "before_flag": lay.get("flag", np.nan),
                "after_p_high": told_now.get(name, {}).get("p_high", np.nan),
            }
        )
    return pd.DataFrame(rows, columns=COLUMNS.split())


def _by_unit(audit: Audited, areas: Areas) -> dict[str, dict[str, float]]:
    """Unit -> its counts, p_high and flag."""
    rows = lies_clustered(audit, areas)
    told = {}
    for subset, part in rows.groupby("subset", sort=False):
        terms = dict(zip(part["term"], part["estimate"].astype(float), strict=True))
        counts = {name: int(part[name].iloc[0]) for name in ("n_sites", "n_events")}
        told[subset.partition("=")[2]] = counts | {name: terms[name] for name in ("p_high", "flag")}
    return told


def _sites_of(cases: pd.DataFrame, by: str) -> dict[str, pd.Index]:
    """Unit -> its sites."""
    if by not in cases or not len(cases):
        return {}
    levels = as_levels(cases[by])
    units, site = np.asarray(levels.astype(object)), cases["site_id"].astype(object)
    return {str(unit): pd.Index(part) for unit, part in site[levels.codes >= 0].groupby(units[levels.codes >= 0])}


def _cells_of(corrected: pd.DataFrame, cases: pd.DataFrame, sites: pd.Index) -> int:
    """Corrected cells of these sites and of their patients."""
    of_sites = cases["site_id"].astype(object).isin(sites)
    patients = cases.loc[of_sites, "patient_id"].astype(object)
    ours = corrected["site_id"].astype(object).isin(sites) | corrected["patient_id"].astype(object).isin(patients)
    return int(corrected.loc[ours, "n_cells"].sum())
