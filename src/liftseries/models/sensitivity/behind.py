"""Who stands behind what could change the answers.

| analysis | its numbers are worked out from |
|---|---|
| sensitivity.detection | as perforation.rate |
| sensitivity.detection_contrast | the same, of both levels compared |
| sensitivity.filled_cells | nobody whom a release could count: which cells were empty stays in the house |
| sensitivity.lost_implants, sensitivity.tipping_point | implants failed by the month, and those lost by then |
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liftseries.disclosure.declared import Behind, Counted, behind_estimate
from liftseries.models.depth import behind as depth
from liftseries.models.sensitivity.lost import OBSERVED, TIPPING, WORST, lost_until
from liftseries.models.shared.behind import Row
from liftseries.models.shared.design import reference_among
from liftseries.models.shared.levels import as_levels
from liftseries.models.shared.population import Population
from liftseries.models.survival.behind import at_month


def detection_contrast(p: Population, row: Row) -> Behind:
    """`approach[guided] 1/0.8`: the sites of a level and of the reference."""
    column, _, level = row.term.rpartition(" ")[0].partition("[")
    levels = as_levels(p.cases[column])
    reference = reference_among(column, levels[p.perforation_known])
    groups = [np.asarray(levels == one) & p.perforation_known for one in (reference, level.removesuffix("]"))]
    used = groups[0] | groups[1]
    counted = (*groups, *(group & p.perforated for group in groups))
    return behind_estimate(used, used & p.perforated, gives_away=tuple(Counted(group) for group in counted))


def filled_cells(p: Population, row: Row) -> None:
    """Sites without an empty cell: set beside all sites they would tell how many had one, so the row stays."""


def alike(p: Population, row: Row) -> Behind:
    """Sites of which the quantity is known."""
    if row.term == "perforation":
        events = p.perforated
        return behind_estimate(p.perforation_known, events, parts=(events, p.perforation_known & ~events))
    if row.term == "gain_mm":
        return behind_estimate(p.where_sites(p.gains["site_id"]))
    if row.term == "last_error_mm":
        return depth.agreement(p, row)
    return behind_estimate(p.cases[row.term].notna().to_numpy(bool))


def lost(p: Population, row: Row) -> Behind:
    """All implants followed; events are failures by the month, in the worst case with those lost by then."""
    by_then = p.followed & p.failed & (p.months <= row.month)
    asked = [month for month in p.plan["survival_months"] if month <= row.month]
    gone = p.followed & np.isfinite(lost_until(asked, p.months, p.failed, p.died, p.reachable))
    worst = row.method == WORST
    away = [Counted(by_then)]
    if worst or row.analysis == TIPPING:
        away.append(Counted(gone))
    still = p.followed & (p.months >= row.month)
    events = by_then | gone if worst else by_then
    behind = behind_estimate(p.followed, events, gives_away=tuple(away), rests_on=(still,))
    as_told = row.method == OBSERVED  # the same as survival.km
    return replace(behind, by_month=at_month(p, "survival", row.month, p.followed, still)) if as_told else behind
