"""How many of a unit's sites have an entry that is possible but odd, and that nobody has looked into."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.models.audit.units import in_period, unit_names
from liftseries.models.shared.levels import as_levels


@dataclass(frozen=True)
class OddSites:
    """Sites of each unit.

    Attributes
    ----------
    counted : `unit n_sites n_odd`, a row a unit: the sites of the period, and those with an oddity not accepted
    """

    counted: pd.DataFrame


def count_odd_sites(cases: pd.DataFrame, odd_sites: pd.DataFrame, by: str, period: Sequence[int]) -> OddSites:
    """Counts them; oddities of a whole centre, operator or column are no site's.

    Parameters
    ----------
    cases : one row a site
    odd_sites : `rule, site_id, accepted`, a row an oddity of a site or of one of its visits
    by, period : the column whose levels are the units; surgery years, all where empty
    """
    open_ones = odd_sites.loc[~odd_sites["accepted"].astype(bool), "site_id"].astype(str)
    inside = cases.loc[in_period(cases, period)]
    units = as_levels(inside[by] if by in inside else pd.Series(None, index=inside.index, dtype=object))
    unit = pd.Series(np.asarray(units.astype(object)), index=inside.index).astype(object)
    odd = inside["site_id"].astype(str).isin(set(open_ones))
    of_unit = odd.groupby(unit).agg(["size", "sum"])
    names = list(unit_names(cases, by))
    counted = of_unit.reindex(names).fillna(0).astype(int).rename(columns={"size": "n_sites", "sum": "n_odd"})
    return OddSites(counted.rename_axis("unit").reset_index())
