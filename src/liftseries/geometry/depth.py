"""Drill depths: from instrument, stop and platform to millimetres below the crest.

    depth = instrument length - stop length + platform depth

Depths run along the drilling axis, positive into bone, zero at the crest. Opens no file.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
# Decimal lengths are no exact binary numbers: 11.2 - 7 is a hair below 4.2. Nobody measures a nanometre.
HAIR_MM = 1e-9


def stop_length_mm(marking_mm: ArrayLike, marked_on_length_mm: ArrayLike) -> Array:
    """What a stop takes off an instrument.

    Parameters
    ----------
    marking_mm : shape (n_stops,), mm
        The number engraved on the stop.
    marked_on_length_mm : shape (n_stops,), mm
        The instrument length for which a marked *depth* is true; NaN where the marking is the stop's own length.

    Returns
    -------
    shape (n_stops,), mm
        The marking itself, or the marked-on length less the marking.

    Source: the contract, "Depth arithmetic".
    """
    marking, marked_on = np.asarray(marking_mm, float), np.asarray(marked_on_length_mm, float)
    return np.where(np.isnan(marked_on), marking, marked_on - marking)


def drill_depth_mm(length_mm: ArrayLike, stop_length_mm: ArrayLike, platform_depth_mm: ArrayLike) -> Array:
    """Depth below the crest that each pass is set to.

    Parameters
    ----------
    length_mm : shape (n_passes,), mm
        How far the tip goes with no stop.
    stop_length_mm : shape (n_passes,), mm
        What the stop takes off; 0 without a stop. It may be longer than a guided instrument, whose length counts from
        the planned platform and not from the shoulder.
    platform_depth_mm : shape (n_passes,), mm
        Planned platform below the crest, negative above it; 0 for freehand instruments.

    Returns
    -------
    shape (n_passes,), mm
        NaN where any input is NaN; 0 or less where the tip stays at or above the crest.

    Source: the contract, "Depth arithmetic".
    """
    return np.asarray(length_mm, float) - stop_length_mm + platform_depth_mm


def deepest_before_mm(depth_mm: Array, is_drill: NDArray[np.bool_], starts: NDArray[np.intp]) -> Array:
    """The deepest drill pass before each pass of its site; 0 before the first.

    Parameters
    ----------
    depth_mm : shape (n_passes,), mm
        Site by site, in the order of the passes.
    is_drill : shape (n_passes,)
        False for a gauge.
    starts : shape (n_logs,)
        Where each site's log begins.

    Returns
    -------
    shape (n_passes,), mm
    """
    lengths = np.diff(starts, append=depth_mm.size)
    longest_first = np.argsort(-lengths, kind="stable")
    starts, lengths = starts[longest_first], lengths[longest_first]
    drilled = np.where(is_drill, depth_mm, -np.inf)
    before = np.zeros(depth_mm.size)
    deepest = np.zeros(starts.size)
    # Pass by pass, all sites at once; logs that are over drop off the end.
    for step in range(lengths[0] if lengths.size else 0):
        going_on = np.searchsorted(-lengths, -step)
        rows = starts[:going_on] + step
        before[rows] = deepest[:going_on]
        deepest[:going_on] = np.fmax(deepest[:going_on], drilled[rows])
    return before


def engagement_mm(
    guide_shank_mm: ArrayLike,
    deepest_before_mm: ArrayLike,
    length_mm: ArrayLike,
    platform_depth_mm: ArrayLike,
    guide_offset_mm: ArrayLike,
    soft_tissue_mm: ArrayLike,
) -> Array:
    """How much of the shank already runs in the guide when a guided drill's tip meets bone.

    Zero or less = the drill starts unguided by that much; the hand, not the guide, steers the first cut.

    Parameters
    ----------
    guide_shank_mm, deepest_before_mm, length_mm, platform_depth_mm : shape (n_passes,), mm
    guide_offset_mm : shape (n_passes,), mm
        Planned platform to the top of the guide.
    soft_tissue_mm : shape (n_passes,), mm
        NaN where unknown: the shank alone then decides.

    Returns
    -------
    shape (n_passes,), mm
        NaN where the shank is unknown.

    Source: the contract, "Depth arithmetic".
    """
    by_shank = np.asarray(guide_shank_mm, float) + deepest_before_mm - length_mm - platform_depth_mm
    guide_hole = np.asarray(guide_offset_mm, float) - soft_tissue_mm
    # fmin passes over an unknown guide hole; an unknown shank must stay unknown.
    return np.where(np.isnan(by_shank), np.nan, np.fmin(by_shank, guide_hole))
