"""The planned ladder: the rungs from just short of the lowest floor to the highest, and what drills each.

    first rung  the deepest reachable depth ≤ rbh_min_mm - margin
    next rung   the deepest reachable depth ≤ the last rung + step
    last rung   the first one ≥ rbh_max_mm

Depths that can be reached are those of each drill with each stop and with none.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from liftseries.geometry.depth import HAIR_MM, Array, engagement_mm

NO_DRILL = "no drill of this approach is among the instruments"
NO_FIRST_RUNG = "no first rung: no drill and stop end above 0 and at or short of rbh_min_mm less the margin"
NO_WAY_UP = "no way up to rbh_max_mm: no drill and stop end within one step of the last rung"


@dataclass(frozen=True)
class Reach:
    """Every way to set an instrument: each with no stop and with each stop that fits it.

    All arrays have shape (n_settings,), sorted by travel, then length, then diameter.
    """

    travel_mm: Array  # length less stop: the depth for a platform at the crest
    instrument: NDArray[np.intp]  # row of the instrument
    stop: NDArray[np.intp]  # row of the stop, -1 for none
    length_mm: Array
    guide_shank_mm: Array


@dataclass(frozen=True)
class Ladders:
    """The planned ladder of each site; shapes (n_sites,)."""

    first_mm: Array  # NaN where there is no ladder
    last_mm: Array  # NaN where there is no ladder
    n_rungs: NDArray[np.int64]  # 0 where there is no ladder
    problem: NDArray[np.object_]  # None where there is a ladder


@dataclass(frozen=True)
class LadderPass:
    """One pass of a planned ladder."""

    rung: int  # 1 for the first
    instrument: int  # row of the instrument
    stop: int  # row of the stop, -1 for none
    depth_mm: float
    engagement_mm: float  # NaN freehand and for a gauge
    opens: bool  # a shorter drill that opens the hole for the rung's own
    gauge: bool


def settings(
    length_mm: Array,
    diameter_mm: Array,
    guide_shank_mm: Array,
    stop_length_mm: Array,
    marked_on_length_mm: Array,
) -> Reach:
    """All settings of some instruments.

    Parameters
    ----------
    length_mm, diameter_mm, guide_shank_mm : shape (n_instruments,), mm
    stop_length_mm, marked_on_length_mm : shape (n_stops,), mm
        The latter NaN for stops marked with their own length. A depth-marked stop goes on no other length than
        the one it is marked for. A stop may be longer than a guided instrument: where the platform lies deep enough
        its tip still ends below the crest, and only such depths are planned with.
    """
    stop = np.concatenate([[0.0], stop_length_mm])
    marked_on = np.concatenate([[np.nan], marked_on_length_mm])
    length = np.asarray(length_mm, float)[:, None]
    fits = np.isnan(marked_on) | (np.abs(marked_on - length) <= HAIR_MM)
    instrument, slot = np.nonzero(np.broadcast_to(fits, (length.size, stop.size)))
    # Rounded to a millionth of a micrometre, so that equal depths are equal numbers.
    travel = np.round(np.asarray(length_mm, float)[instrument] - stop[slot], 9)
    order = np.lexsort((slot, np.asarray(diameter_mm)[instrument], np.asarray(length_mm)[instrument], travel))
    instrument, slot, travel = instrument[order], slot[order], travel[order]
    return Reach(
        travel_mm=travel,
        instrument=instrument,
        stop=slot - 1,
        length_mm=np.asarray(length_mm, float)[instrument],
        guide_shank_mm=np.asarray(guide_shank_mm, float)[instrument],
    )


def plan_ladders(
    travel_mm: Array,
    rbh_min_mm: Array,
    rbh_max_mm: Array,
    platform_depth_mm: Array,
    margin_mm: float,
    step_mm: float,
) -> Ladders:
    """Planned ladders of all sites of one approach.

    Parameters
    ----------
    travel_mm : shape (n_settings,), mm
        From `settings` of the approach's drills.
    rbh_min_mm, rbh_max_mm : shape (n_sites,), mm
    platform_depth_mm : shape (n_sites,), mm
        0 for freehand sites.
    margin_mm, step_mm : mm

    Source: the contract, "Planned ladder".
    """
    n_sites = rbh_min_mm.size
    travel = np.unique(travel_mm)
    if not travel.size:
        return _no_ladders(n_sites)
    # The platform shifts every depth of a site alike, so all sites can climb the same travels.
    lowest, highest = rbh_min_mm - margin_mm - platform_depth_mm, rbh_max_mm - platform_depth_mm
    rung = np.searchsorted(travel, lowest + HAIR_MM, side="right") - 1
    has_first = (rung >= 0) & (travel[rung] + platform_depth_mm > HAIR_MM)
    above = np.searchsorted(travel, travel + step_mm + HAIR_MM, side="right") - 1
    first, n_rungs, stuck = rung.copy(), np.ones(n_sites, dtype=np.int64), np.zeros(n_sites, dtype=bool)
    climbing = np.flatnonzero(has_first & (travel[rung] < highest - HAIR_MM))
    while climbing.size:
        here = rung[climbing]
        there = above[here]
        stuck[climbing[there == here]] = True
        climbing, there = climbing[there > here], there[there > here]
        rung[climbing] = there
        n_rungs[climbing] += 1
        climbing = climbing[travel[there] < highest[climbing] - HAIR_MM]
    sound = has_first & ~stuck
    problem = np.full(n_sites, None, dtype=object)
    problem[~has_first], problem[stuck] = NO_FIRST_RUNG, NO_WAY_UP
    return Ladders(
        first_mm=np.where(sound, travel[first] + platform_depth_mm, np.nan),
        last_mm=np.where(sound, travel[rung] + platform_depth_mm, np.nan),
        n_rungs=np.where(sound, n_rungs, 0),
        problem=problem,
    )


def _no_ladders(n_sites: int) -> Ladders:
    nothing = np.full(n_sites, np.nan)
    return Ladders(nothing, nothing, np.zeros(n_sites, np.int64), np.full(n_sites, NO_DRILL, dtype=object))


def climb(
    drills: Reach,
    gauges: Reach,
    rbh_min_mm: float,
    rbh_max_mm: float,
    platform_depth_mm: float,
    margin_mm: float,
    step_mm: float,
    guide_offset_mm: float = np.nan,
    soft_tissue_mm: float = np.nan,
) -> tuple[list[LadderPass], str | None]:
    """The passes of one site's planned ladder, with the gauge after each rung where one reaches it.

    Each rung is drilled with the shortest drill that reaches it; where that drill would start unguided, the
    shorter drill that goes deepest without doing so opens the hole first, and again until the rung's own is
    held. Freehand: `platform_depth_mm` 0, and `guide_shank_mm` of the settings NaN.

    Returns
    -------
    passes, and the problem where there is no ladder (then no passes)
    """
    site = (np.array([rbh_min_mm]), np.array([rbh_max_mm]), np.array([platform_depth_mm]))
    ladder = plan_ladders(drills.travel_mm, *site, margin_mm, step_mm)
    if ladder.problem[0]:
        return [], ladder.problem[0]

    def held(setting: int, deepest_mm: float) -> float:
        shank, length = drills.guide_shank_mm[setting], drills.length_mm[setting]
        return float(engagement_mm(shank, deepest_mm, length, platform_depth_mm, guide_offset_mm, soft_tissue_mm))

    passes, deepest = [], 0.0
    for number, rung in enumerate(_rungs(drills.travel_mm, ladder, platform_depth_mm, step_mm), start=1):
        travel = rung - platform_depth_mm
        reaching = np.flatnonzero(np.abs(drills.travel_mm - travel) <= HAIR_MM)
        own = reaching[np.argmin(drills.length_mm[reaching])]
        while held(own, deepest) <= HAIR_MM:
            opener = _opener(drills, own, deepest - platform_depth_mm, travel, partial(held, deepest_mm=deepest))
            if opener is None:
                break
            depth = float(drills.travel_mm[opener] + platform_depth_mm)
            passes.append(_pass(drills, opener, number, depth, held(opener, deepest), opens=True))
            deepest = depth
        passes.append(_pass(drills, own, number, rung, held(own, deepest)))
        deepest = rung
        probing = np.flatnonzero(np.abs(gauges.travel_mm - travel) <= HAIR_MM)
        if probing.size:
            passes.append(_pass(gauges, probing[0], number, rung, np.nan, gauge=True))
    return passes, None


def rungs_mm(
    travel_mm: Array,
    rbh_min_mm: float,
    rbh_max_mm: float,
    platform_depth_mm: float,
    margin_mm: float,
    step_mm: float,
) -> list[float]:
    """The depths of one site's ladder, mm; empty where there is none."""
    site = (np.array([rbh_min_mm]), np.array([rbh_max_mm]), np.array([platform_depth_mm]))
    ladder = plan_ladders(travel_mm, *site, margin_mm, step_mm)
    return [] if ladder.problem[0] else _rungs(travel_mm, ladder, platform_depth_mm, step_mm)


def _rungs(travel_mm: Array, ladder: Ladders, platform_depth_mm: float, step_mm: float) -> list[float]:
    travel = np.unique(travel_mm)
    rungs = [float(ladder.first_mm[0])]
    while len(rungs) < ladder.n_rungs[0]:
        limit = rungs[-1] - platform_depth_mm + step_mm + HAIR_MM
        rungs.append(float(travel[np.searchsorted(travel, limit, side="right") - 1] + platform_depth_mm))
    return rungs


def _opener(drills: Reach, own: int, opened_mm: float, travel_mm: float, held) -> int | None:
    """The setting of a shorter, already held drill that goes deepest, deeper than the hole and not past the rung."""
    shorter = (drills.length_mm < drills.length_mm[own] - HAIR_MM) & (drills.travel_mm > opened_mm + HAIR_MM)
    shorter &= drills.travel_mm <= travel_mm + HAIR_MM
    able = [setting for setting in np.flatnonzero(shorter) if held(setting) > HAIR_MM]
    return max(able, key=lambda setting: (drills.travel_mm[setting], -drills.length_mm[setting]), default=None)


def _pass(
    reach: Reach,
    setting: int,
    rung: int,
    depth_mm: float,
    engagement: float,
    opens: bool = False,
    gauge: bool = False,
) -> LadderPass:
    return LadderPass(
        rung=rung,
        instrument=int(reach.instrument[setting]),
        stop=int(reach.stop[setting]),
        depth_mm=depth_mm,
        engagement_mm=engagement,
        opens=opens,
        gauge=gauge,
    )
