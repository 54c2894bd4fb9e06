"""Who stands behind what describes the series: flow and characteristics."""

from __future__ import annotations

import numpy as np

from liftseries.disclosure.declared import Behind, Counted
from liftseries.models.series.describe import LABEL_COLUMNS, stages_reached
from liftseries.models.shared.levels import as_levels, is_number
from liftseries.models.shared.population import Population


def stage(p: Population, row) -> Behind | None:
    """A stage of the flow; of what was read before anything was set aside the population knows nothing."""
    stages = p.once(("flow",), lambda: stages_reached(p.cases, p.visits))
    if row.stage not in stages:
        return None
    sites = stages[row.stage]
    return Behind({"n_sites": Counted(sites), "n_patients": Counted(sites, "patients")}, seen_in=("series",))


def characteristic(p: Population, row) -> Behind | None:
    """A level of a label or the summary of a number, in a subset."""
    if row.column not in p.cases:
        return None
    unit = "patients" if row.unit == "patient" else "sites"
    values, subset = p.cases[row.column], p.subset(row.subset)
    rests_on = ()
    if is_number(values) and row.column not in LABEL_COLUMNS:
        known = np.isfinite(values.to_numpy(float, na_value=np.nan))
        level, rests_on = known, (subset & known,)
    else:
        levels = as_levels(values)
        known, level = levels.codes >= 0, np.asarray(levels == row.level)
    # A patient's value stands at each of their sites, so that no other site of theirs says otherwise.
    counts = {
        "n": Counted(subset & level, unit),
        "n_known": Counted(subset & known, unit),
        "n_missing": Counted(subset & ~known, unit),
    }
    return Behind(counts, rests_on=rests_on, group=subset, seen_in=(f"characteristics {row.column}",))
