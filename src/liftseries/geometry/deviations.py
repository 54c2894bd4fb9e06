"""What the drilling log shows against the plan: achieved depths, and the ten deviations.

Every array over passes runs site by site in the order of the passes; `starts` says where each log begins.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from liftseries.geometry.depth import HAIR_MM, Array

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Passes:
    """The drilling logs; shapes (n_passes,), and (n_logs,) for `starts`."""

    starts: NDArray[np.intp]
    is_drill: Flags  # False for a gauge
    depth_mm: Array
    deepest_before_mm: Array
    engagement_mm: Array  # NaN for gauges and freehand
    speed_rpm: Array  # NaN where not recorded
    intended_depth_mm: Array  # NaN where not recorded
    misread_depth_mm: Array  # what the other meaning of the stop's marking would give; NaN without a stop
    found_open: Flags

    @property
    def advance_mm(self) -> Array:
        """How much a drill pass deepens the hole; NaN for a gauge."""
        return np.where(self.is_drill, self.depth_mm - self.deepest_before_mm, np.nan)


@dataclass(frozen=True)
class Achieved:
    """What each log reached; shapes (n_logs,), mm."""

    first_mm: Array  # before the first gauge pass; the first drill pass where there is no gauge pass
    last_mm: Array  # the deepest drill pass
    breakthrough_mm: Array  # deepest up to the first open finding; NaN if never open


@dataclass(frozen=True)
class Deviations:
    """True where a log shows the deviation; shapes (n_logs,). See the contract for each in full."""

    first_too_deep: Flags
    advance_too_large: Flags
    unguided_start: Flags
    not_probed: Flags
    probe_mismatch: Flags  # means nothing where `has_gauge` is False
    drilled_after_open: Flags
    overdrilled: Flags
    speed_high: Flags
    intended_missed: Flags
    stop_misread: Flags


DEVIATIONS = tuple(field.name for field in fields(Deviations))


def has_gauge(passes: Passes) -> Flags:
    """Whether a log has any gauge pass; shape (n_logs,)."""
    return _any(passes, ~passes.is_drill)


def achieved(passes: Passes) -> Achieved:
    """Depths that the logs reached.

    Source: the contract, "What a run leaves in output/".
    """
    if not passes.starts.size:
        return Achieved(*(np.empty(0) for _ in range(3)))
    drilled = np.where(passes.is_drill, passes.depth_mm, -np.inf)
    n_gauges, n_drills = _so_far(passes, ~passes.is_drill), _so_far(passes, passes.is_drill)
    first_drill = _deepest(passes, np.where(n_drills == 1, drilled, -np.inf))
    before_gauge = _deepest(passes, np.where(n_gauges == 0, drilled, -np.inf))
    up_to_open = ~_opened_before(passes)
    return Achieved(
        first_mm=np.where(has_gauge(passes), before_gauge, first_drill),
        last_mm=_deepest(passes, drilled),
        breakthrough_mm=np.where(
            _any(passes, passes.found_open), _deepest(passes, np.where(up_to_open, drilled, -np.inf)), np.nan
        ),
    )


def judge(
    passes: Passes,
    reached: Achieved,
    rbh_max_mm: Array,
    first_limit_mm: Array,
    planned_first_mm: Array,
    step_mm: float,
    tolerance_mm: float,
    speed_limit_rpm: float,
) -> Deviations:
    """The ten deviations of each log.

    Parameters
    ----------
    passes, reached
        The logs, and `achieved(passes)`.
    rbh_max_mm : shape (n_logs,), mm
    first_limit_mm : shape (n_logs,), mm
        rbh_min_mm less the margin of the site's approach.
    planned_first_mm : shape (n_logs,), mm
        NaN where there is no ladder: `first_limit_mm` then stands in.
    step_mm, tolerance_mm : mm
    speed_limit_rpm : rpm

    Source: the contract, table of deviations.
    """
    tolerance = tolerance_mm + HAIR_MM
    advance = passes.advance_mm
    deepens = advance > tolerance  # NaN, a gauge, does not
    per_pass = np.diff(passes.starts, append=passes.depth_mm.size)
    from_here = np.repeat(np.where(np.isnan(planned_first_mm), first_limit_mm, planned_first_mm), per_pass)
    later_drill = passes.is_drill & (_so_far(passes, passes.is_drill) > 1)
    off_depth = np.abs(passes.depth_mm - passes.deepest_before_mm) > tolerance
    missed = np.abs(passes.intended_depth_mm - passes.depth_mm) > tolerance
    misread = missed & (np.abs(passes.intended_depth_mm - passes.misread_depth_mm) <= tolerance)
    return Deviations(
        first_too_deep=reached.first_mm > first_limit_mm + tolerance,
        advance_too_large=_any(
            passes, later_drill & (passes.depth_mm > from_here + tolerance) & (advance > step_mm + tolerance)
        ),
        unguided_start=_any(passes, deepens & (passes.engagement_mm <= HAIR_MM)),
        not_probed=_any(passes, _went_on_unprobed(passes, deepens, from_here - tolerance)),
        probe_mismatch=_any(passes, ~passes.is_drill & off_depth),
        drilled_after_open=_any(passes, deepens & _opened_before(passes)),
        overdrilled=reached.last_mm > rbh_max_mm + step_mm + tolerance,
        speed_high=_any(passes, passes.is_drill & (passes.speed_rpm > speed_limit_rpm)),
        intended_missed=_any(passes, missed),
        stop_misread=_any(passes, misread),
    )


def _went_on_unprobed(passes: Passes, deepens: Flags, from_mm: Array) -> Flags:
    """Deepening passes at `from_mm` or deeper that the next deepening pass follows with no gauge between."""
    rows = np.flatnonzero(deepens)
    log = np.cumsum(_begins(passes))[rows]
    n_gauges = np.cumsum(~passes.is_drill)[rows]
    no_gauge_to_next = (log[:-1] == log[1:]) & (n_gauges[:-1] == n_gauges[1:])
    unprobed = np.zeros(deepens.size, dtype=bool)
    unprobed[rows[:-1][no_gauge_to_next]] = True
    return unprobed & (passes.depth_mm >= from_mm)


def _opened_before(passes: Passes) -> Flags:
    """Whether an earlier pass of the log found the floor open."""
    return _so_far(passes, passes.found_open) - passes.found_open > 0


def _begins(passes: Passes) -> Flags:
    begins = np.zeros(passes.depth_mm.size, dtype=bool)
    begins[passes.starts] = True
    return begins


def _so_far(passes: Passes, flags: Flags) -> NDArray[np.int64]:
    """How many of the log's passes up to and including this one have the flag."""
    running = np.cumsum(flags)
    before_log = running[passes.starts] - flags[passes.starts]
    return running - np.repeat(before_log, np.diff(passes.starts, append=flags.size))


def _any(passes: Passes, flags: Flags) -> Flags:
    return np.logical_or.reduceat(flags, passes.starts) if passes.starts.size else np.zeros(0, dtype=bool)


def _deepest(passes: Passes, depth_mm: Array) -> Array:
    """The deepest of each log; NaN where all are -inf."""
    deepest = np.maximum.reduceat(depth_mm, passes.starts)
    return np.where(np.isneginf(deepest), np.nan, deepest)
