"""Who stands behind what is told of depths and deviations."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from liftseries.disclosure.declared import Behind, behind_estimate
from liftseries.geometry.deviations import DEVIATIONS
from liftseries.models.depth.agreement import depth_missing
from liftseries.models.depth.perforation import SUBSETS
from liftseries.models.depth.read import readings
from liftseries.models.depth.shares import UNJUDGED, ended_missing
from liftseries.models.shared.behind import Row, behind_share
from liftseries.models.shared.population import Population


def agreement(p: Population, row: Row) -> Behind:
    """Sites with an achieved and a planned last depth."""
    return behind_estimate(~_left_out(p))


def read(p: Population, row: Row) -> Behind:
    """Sites with a gauge reading while the floor was not yet open."""
    return behind_estimate(_read(p))


def ended(p: Population, row: Row) -> Behind:
    """Sites of which it is known how the drilling ended; events are those that ended so."""
    known = ~_any(ended_missing(p.cases))
    return behind_share(p, known, known & p.cases["ended"].eq(row.term).to_numpy(bool))


def adherence(p: Population, row: Row) -> Behind:
    """Sites where it can be judged whether they were drilled as planned; events are those that were."""
    judged = p.subset(row.subset) & p.cases["as_drilled"].notna().to_numpy(bool)
    return behind_share(p, judged, judged & p.cases["as_drilled"].eq("plan").to_numpy(bool))


def perforation(p: Population, row: Row) -> Behind:
    """Sites drilled so of which it is known whether the membrane tore; events are those where it did."""
    known = p.perforation_known & p.cases["as_drilled"].eq(SUBSETS[row.subset]).to_numpy(bool)
    return behind_share(p, known, known & p.perforated)


def deviation_share(p: Population, row: Row) -> Behind:
    """Sites where a deviation can be judged, events those where it occurred; or sites with a log where it cannot."""
    name, unjudged, _ = row.term.partition(UNJUDGED)
    flags, member = p.cases[name].astype("boolean"), p.subset(row.subset)
    known = flags.notna().to_numpy(bool)
    if unjudged:
        log = member & _logged(p)
        return behind_share(p, log, log & ~known)
    return behind_share(p, member & known, member & flags.fillna(False).to_numpy(bool))


def _logged(p: Population) -> np.ndarray:
    return p.cases[list(DEVIATIONS)].notna().any(axis=1).to_numpy(bool)


def _read(p: Population) -> np.ndarray:
    return p.where_sites(readings(p.steps)["site_id"])


def _any(sets: Mapping[str, np.ndarray]) -> np.ndarray:
    return np.any(list(sets.values()), axis=0)


def _left_out(p: Population) -> np.ndarray:
    return _any(depth_missing(p.cases))
