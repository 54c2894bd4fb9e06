"""Who stands behind a statistic that describes what was recorded."""

from __future__ import annotations

import numpy as np

from liftseries.disclosure.declared import Behind, Counted, behind_estimate
from liftseries.models.shared.described import QUARTILES


def behind_statistic(values: np.ndarray, name: str) -> Behind:
    """A statistic of a measurement; the largest value rests on nobody, so that it stays in the house.

    A median and quartiles rest on the sites on either side of them, each of which must be patients enough.

    Parameters
    ----------
    values : shape (n_sites,), NaN where not measured
    name : of `described.STATISTICS`, or `max`
    """
    used = np.isfinite(values)
    away = (Counted(used),) if name == "n" else ()
    sides: tuple[np.ndarray, ...] = (used & False,) if name == "max" else ()
    if name in QUARTILES and used.any():
        at = np.quantile(values[used], QUARTILES[name])
        sides = (used & (values <= at), used & (values >= at))
    return behind_estimate(used, gives_away=away, rests_on=() if name != "max" else sides, parts=sides)
