"""Who stands behind what is told of depths and deviations."""

from __future__ import annotations

import numpy as np

from liftseries.disclosure.declared import Behind, Counted, behind_estimate
from liftseries.models.depth.agreement import depth_missing
from liftseries.models.depth.proportional_bias import AS_IN_AGREEMENT
from liftseries.models.shared.behind import Row
from liftseries.models.shared.population import Population


def agreement(p: Population, row: Row) -> Behind:
    """Sites with an achieved and a planned last depth."""
    return behind_estimate(~_left_out(p), recorded=True)


def deviation(p: Population, row) -> Behind | None:
    """Sites where a deviation could be judged, and those where it occurred."""
    if row.deviation not in p.cases:
        return None
    flags = p.cases[row.deviation].astype("boolean")
    judged = p.subset(row.subset) & flags.notna().to_numpy(bool)
    counts = {"n_sites": Counted(judged), "n_true": Counted(judged & flags.fillna(False).to_numpy(bool))}
    return Behind(counts, seen_in=(f"deviations {row.deviation}",))


def left_out(p: Population, subset: str) -> dict[str, Counted]:
    """Sites without one of the two depths: by reason, and all of them."""
    named = {reason: Counted(out, recorded=True) for reason, out in depth_missing(p.cases).items()}
    return named | {AS_IN_AGREEMENT: Counted(_left_out(p), recorded=True)}


def _left_out(p: Population) -> np.ndarray:
    return np.any(list(depth_missing(p.cases).values()), axis=0)
