"""What the drilling log shows against the plan: achieved depths, the ten deviations, and what can be judged.

A *probing* is a gauge pass, or a drill pass whose own finding is closed or open. A pass *deepens* the hole where it
advances by more than the tolerance.

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
    has_stop: Flags
    depth_mm: Array  # of a gauge without a stop what was read on it, NaN where nothing was
    deepest_before_mm: Array
    engagement_mm: Array  # NaN for gauges and freehand
    speed_rpm: Array  # NaN where not recorded
    intended_depth_mm: Array  # NaN where not recorded
    misread_depth_mm: Array  # what the other meaning of the stop's marking would give; NaN without a stop
    found_closed: Flags
    found_open: Flags

    @property
    def is_felt(self) -> Flags:
        """Whether the floor was felt, open or closed."""
        return self.found_closed | self.found_open

    @property
    def is_probing(self) -> Flags:
        """Whether the pass tells of a probing."""
        return ~self.is_drill | self.is_felt

    @property
    def is_set(self) -> Flags:
        """Whether the pass is set to a depth; a gauge without a stop is not."""
        return self.is_drill | self.has_stop

    @property
    def advance_mm(self) -> Array:
        """How much a drill pass deepens the hole; NaN for a gauge."""
        return np.where(self.is_drill, self.depth_mm - self.deepest_before_mm, np.nan)


@dataclass(frozen=True)
class Achieved:
    """What each log reached; shapes (n_logs,), mm."""

    first_mm: Array  # up to the first probing that a deepening pass follows; else the first drill pass
    last_mm: Array  # the deepest drill pass
    breakthrough_mm: Array  # deepest up to the first open finding; NaN if never open


@dataclass(frozen=True)
class Deviations:
    """True where a log shows the deviation; shapes (n_logs,). See the contract for each in full."""

    first_too_deep: Flags
    advance_too_large: Flags
    unguided_start: Flags
    not_probed: Flags
    probe_mismatch: Flags
    drilled_after_open: Flags
    overdrilled: Flags
    speed_high: Flags
    intended_missed: Flags
    stop_misread: Flags


DEVIATIONS = tuple(field.name for field in fields(Deviations))


@dataclass(frozen=True)
class Told:
    """What a log tells of, whatever it may be; shapes (n_logs,)."""

    gauge_with_stop: Flags
    probing: Flags
    finding: Flags
    open_floor: Flags
    speed: Flags
    intended_depth: Flags


# What must be told of for a deviation to be judged. Every other needs a log alone.
JUDGED_FROM = {
    "not_probed": "probing",  # by any log of the site's centre
    "probe_mismatch": "gauge_with_stop",
    "drilled_after_open": "finding",
    "speed_high": "speed",
    "intended_missed": "intended_depth",
    "stop_misread": "intended_depth",
}
ENDED = ("at_plan", "opened_before", "deeper", "short")


def told(passes: Passes) -> Told:
    """What each log tells of.

    Source: the contract, "Empty = cannot be judged".
    """
    return Told(
        gauge_with_stop=_any(passes, ~passes.is_drill & passes.has_stop),
        probing=_any(passes, passes.is_probing),
        finding=_any(passes, passes.is_felt),
        open_floor=_any(passes, passes.found_open),
        speed=_any(passes, ~np.isnan(passes.speed_rpm)),
        intended_depth=_any(passes, ~np.isnan(passes.intended_depth_mm)),
    )


def achieved(passes: Passes, tolerance_mm: float) -> Achieved:
    """Depths that the logs reached; `tolerance_mm`, mm: a pass that advances by more deepens the hole.

    Source: the contract, "What a run leaves in output/".
    """
    if not passes.starts.size:
        return Achieved(*(np.empty(0) for _ in range(3)))
    drilled = np.where(passes.is_drill, passes.depth_mm, -np.inf)
    first_drill = _deepest(passes, np.where(_so_far(passes, passes.is_drill) == 1, drilled, -np.inf))
    up_to_probing = ~_before(passes, passes.is_probing)
    first_stage = _deepest(passes, np.where(up_to_probing, drilled, -np.inf))
    up_to_open = ~_before(passes, passes.found_open)
    return Achieved(
        first_mm=np.where(_any(passes, _deepens(passes, tolerance_mm) & ~up_to_probing), first_stage, first_drill),
        last_mm=_deepest(passes, drilled),
        breakthrough_mm=np.where(
            _any(passes, passes.found_open), _deepest(passes, np.where(up_to_open, drilled, -np.inf)), np.nan
        ),
    )


def ended(last_error_mm: Array, has_finding: Flags, opened: Flags, tolerance_mm: float) -> NDArray[np.object_]:
    """How each site's drilling ended against the plan, one of `ENDED`; None where that cannot be said.

    Parameters
    ----------
    last_error_mm : shape (n_sites,), mm
        Achieved less planned last depth, NaN without a plan or a log.
    has_finding, opened : shape (n_sites,)
        Whether the log tells of a floor felt closed or open, and of an open one.
    tolerance_mm : mm

    Source: the contract, "What a run leaves in output/".
    """
    tolerance = tolerance_mm + HAIR_MM
    at_plan = np.abs(last_error_mm) <= tolerance
    short = last_error_mm < -tolerance
    conditions = [last_error_mm > tolerance, at_plan, short & opened, short & has_finding]
    words = np.array(["deeper", "at_plan", "opened_before", "short", None], dtype=object)
    return words[np.select(conditions, range(4), 4)]


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
        The logs, and `achieved` of them.
    rbh_max_mm : shape (n_logs,), mm
    first_limit_mm : shape (n_logs,), mm
        rbh_min_mm less the margin of the site's approach.
    planned_first_mm : shape (n_logs,), mm
        NaN where there is no ladder: `first_limit_mm` then stands in.
    step_mm, tolerance_mm : mm
    speed_limit_rpm : rpm

    Source: the contract, table of deviations. Where one cannot be judged, see `JUDGED_FROM`, its answer means nothing.
    """
    tolerance = tolerance_mm + HAIR_MM
    advance, deepens = passes.advance_mm, _deepens(passes, tolerance_mm)
    per_pass = np.diff(passes.starts, append=passes.depth_mm.size)
    from_here = np.repeat(np.where(np.isnan(planned_first_mm), first_limit_mm, planned_first_mm), per_pass)
    later_drill = passes.is_drill & (_so_far(passes, passes.is_drill) > 1)
    off_depth = np.abs(passes.depth_mm - passes.deepest_before_mm) > tolerance
    missed = passes.is_set & (np.abs(passes.intended_depth_mm - passes.depth_mm) > tolerance)
    misread = missed & (np.abs(passes.intended_depth_mm - passes.misread_depth_mm) <= tolerance)
    return Deviations(
        first_too_deep=reached.first_mm > first_limit_mm + tolerance,
        advance_too_large=_any(
            passes, later_drill & (passes.depth_mm > from_here + tolerance) & (advance > step_mm + tolerance)
        ),
        unguided_start=_any(passes, deepens & (passes.engagement_mm <= HAIR_MM)),
        not_probed=_any(passes, _went_on_unprobed(passes, deepens, from_here - tolerance)),
        probe_mismatch=_any(passes, ~passes.is_drill & passes.has_stop & off_depth),
        drilled_after_open=_any(passes, deepens & _before(passes, passes.found_open)),
        overdrilled=reached.last_mm > rbh_max_mm + step_mm + tolerance,
        speed_high=_any(passes, passes.is_drill & (passes.speed_rpm > speed_limit_rpm)),
        intended_missed=_any(passes, missed),
        stop_misread=_any(passes, misread),
    )


def _deepens(passes: Passes, tolerance_mm: float) -> Flags:
    return passes.advance_mm > tolerance_mm + HAIR_MM  # NaN, a gauge, does not


def _went_on_unprobed(passes: Passes, deepens: Flags, from_mm: Array) -> Flags:
    """Deepening passes at `from_mm` or deeper that the next deepening pass follows with no probing since.

    The pass's own finding is a probing, the next one's own comes too late.
    """
    rows = np.flatnonzero(deepens)
    log = np.cumsum(_begins(passes))[rows]
    n_probings_before = (np.cumsum(passes.is_probing) - passes.is_probing)[rows]
    no_probing_to_next = (log[:-1] == log[1:]) & (n_probings_before[:-1] == n_probings_before[1:])
    unprobed = np.zeros(deepens.size, dtype=bool)
    unprobed[rows[:-1][no_probing_to_next]] = True
    return unprobed & (passes.depth_mm >= from_mm)


def _before(passes: Passes, flags: Flags) -> Flags:
    """Whether an earlier pass of the log has the flag."""
    return _so_far(passes, flags) - flags > 0


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
