"""What shares told roundly tell of the two counts behind them: lowest and highest share, times the one count."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pandas as pd

from liftseries.disclosure.declared import Behind
from liftseries.disclosure.enumeration import Range
from liftseries.disclosure.parts import Together
from liftseries.release.digits import Grid
from liftseries.release.ledger import Ledger, Place

LESS = 1e-5  # by which what goes up lies above what does not: less than one of `n` sites, more than `parts.NEAR`


def told_shares(
    tables: Mapping[str, pd.DataFrame],
    behind: Mapping[str, Sequence[Behind | None]],
    ledger: Ledger,
    coarse: Mapping[Place, Grid],
    smallest_cell: int,
) -> list[tuple[list[Place], list[Together]]]:
    """What rows tell, row by row: see `by_month.told_by_month`."""
    found = []
    for (name, at), grid in coarse.items():
        one, table = behind[name][at], tables[name]
        if one is None or not one.share or pd.isna(table["estimate"].iloc[at]):
            continue
        names = [ledger.name_of(counted) for counted in one.gives_away]
        if None in names:
            continue
        share = share_within(float(table["estimate"].iloc[at]), grid.unit)
        found.append(([(name, at)], told_of_share(*names, share, smallest_cell)))
    return found


def told_of_share(whole: str, part: str, share: Range, smallest_cell: int) -> list[Together]:
    """What is known of both counts, by name in the ledger: their share, and that k have it and k do not.

    Of fewer no share is told roundly.
    """
    return [
        Together({part: 1.0, whole: -share[0]}, 0.0, math.inf),
        Together({part: -1.0, whole: share[1]}, 0.0, math.inf),
        Together({part: 1.0}, smallest_cell, math.inf),
        Together({part: -1.0, whole: 1.0}, smallest_cell, math.inf),
    ]


def share_within(told: float, unit: float) -> Range:
    """What a share may be that is told in steps of a unit: from half a unit below to less than half above."""
    return max(told - unit / 2, 0.0), min(told + unit / 2 - LESS, 1.0)
