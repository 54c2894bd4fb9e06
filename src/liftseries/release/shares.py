"""What shares that are told roundly tell of the two counts behind them: lowest and highest share, times the one count.

An interval that is symmetric on the logit tells of its middle; the exact one of all shares of so many that have it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pandas as pd
from scipy.special import expit, logit

from liftseries.disclosure.declared import Behind
from liftseries.disclosure.enumeration import Range, counts_agreeing
from liftseries.disclosure.parts import Together
from liftseries.estimators.proportion import exact
from liftseries.release.ledger import Ledger, Place

LEAST = 1e-9
LESS = 1e-5  # by which what goes up lies above what does not: less than one of `n` sites, more than `parts.NEAR`


def told_shares(
    tables: Mapping[str, pd.DataFrame],
    behind: Mapping[str, Sequence[Behind | None]],
    ledger: Ledger,
    coarse: Mapping[Place, float],
    smallest_cell: int,
) -> list[tuple[list[Place], list[Together]]]:
    """What rows tell, row by row: see `by_month.told_by_month`."""
    found = []
    for (name, at), unit in coarse.items():
        one, table = behind[name][at], tables[name]
        if one is None or not one.share or pd.isna(table["estimate"].iloc[at]):
            continue
        names = [ledger.name_of(counted) for counted in one.gives_away]
        if None in names:
            continue
        printed = [float(number) for number in table[["estimate", "conf_low", "conf_high"]].iloc[at]]
        between = _share_of(printed, one, ledger.entries[names[0]].value, unit)
        found.append(([(name, at)], told_of_share(*names, between, smallest_cell)))
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


def around(multiple: float, unit: float) -> Range:
    """What is told as this multiple of a unit: from half a unit below it to less than half a unit above."""
    return multiple - unit / 2, multiple + unit / 2 - LESS


def _share_of(printed: list[float], behind: Behind, n: int, unit: float) -> Range:
    """What the share can be."""
    (low, high), *ends = (around(number, unit) for number in printed)
    if math.isnan(printed[1]) or math.isnan(printed[2]):
        return max(low, 0.0), high
    if behind.share == "exact":
        agree = counts_agreeing(lambda x, n: exact(x, n), printed[1:], unit / 2, n, (max(low, 0.0), high), least=n)
        return min(x for x, _ in agree) / n - LEAST, max(x for x, _ in agree) / n + LEAST
    middle = [float(expit(sum(logit(min(max(end[k], LEAST), 1 - LEAST)) for end in ends) / 2)) for k in (0, 1)]
    return max(low, middle[0], 0.0), min(high, middle[1])
