"""Who stands behind what describes the series: flow, characteristics, missing values."""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.disclosure.declared import Behind, Counted
from liftseries.models.series.describe import LABEL_COLUMNS, stages_reached
from liftseries.models.shared.levels import as_levels, is_missing, is_number
from liftseries.models.shared.population import Population

RECORDED = ("in the series", "with a drilling log", "perforation known")  # stages that say only what is on record
READ, SET_ASIDE, SERIES = "read", "set aside", "in the series"


def stage(p: Population, row) -> Behind | None:
    """A stage of the flow; of what was read before anything was set aside the population knows nothing."""
    stages = p.once(("flow",), lambda: stages_reached(p.cases, p.visits))
    if row.stage not in stages:
        return None
    sites, recorded = stages[row.stage], row.stage in RECORDED
    counts = {"n_sites": Counted(sites, "sites", recorded), "n_patients": Counted(sites, "patients", recorded)}
    return Behind(counts, seen_in=("series",))


def read_where_nothing_was_set_aside(whole: pd.DataFrame, masked: pd.DataFrame) -> pd.DataFrame:
    """What was read is told where nothing was set aside: it is then the series itself."""
    columns = ["n_patients", "n_sites"]
    stages = whole.set_index("stage")[columns] if len(whole) else whole
    if not {READ, SET_ASIDE, SERIES} <= set(stages.index) or stages.loc[SET_ASIDE].any():
        return masked
    masked = masked.copy()
    masked.loc[masked["stage"].eq(READ), columns] = masked.loc[masked["stage"].eq(SERIES), columns].to_numpy()
    masked.loc[masked["stage"].eq(SET_ASIDE), columns] = 0
    return masked


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
        "n": Counted(subset & level, unit, recorded=row.level == ""),
        "n_known": Counted(subset & known, unit, recorded=True),
        "n_missing": Counted(subset & ~known, unit, recorded=True),
    }
    return Behind(counts, rests_on=rests_on, seen_in=(f"characteristics {row.column}",))


def missing(p: Population, row) -> Behind | None:
    """Values of a column that are missing; which of them did not apply is not known here, and is withheld."""
    if row.column not in p.cases:
        return None
    subset = p.subset(row.subset)
    counts = {
        "n": Counted(subset, recorded=row.subset == "all"),
        "n_missing": Counted(subset & is_missing(p.cases[row.column]), recorded=True),
    }
    return Behind(counts, seen_in=(f"missing {row.column}",))
