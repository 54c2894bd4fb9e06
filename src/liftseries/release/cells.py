"""Each number that rows told roundly could have, by what is told before them, and what it would tell of the counts."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np
import pandas as pd

from liftseries.disclosure.enumeration import Range
from liftseries.disclosure.parts import Together
from liftseries.release.by_month import told_by_month
from liftseries.release.entries import Behinds
from liftseries.release.ledger import Ledger, Place
from liftseries.release.shares import share_within, told_of_share

MONTHS = "months"
NEAR = 1e-9
Cell = tuple[float, list[Together]]  # a number, and what it would tell


def cells_of_share(
    place: Place, unit: float, behind: Behinds, ledger: Ledger, range_of: Callable[[str], Range], smallest_cell: int
) -> Iterator[Cell]:
    """Each number that a share could have, were it told as a multiple of a unit.

    Parameters
    ----------
    place : the row
    unit : of which it would be told as a multiple
    behind : who stands behind each row
    ledger
    range_of : name in the ledger -> lowest and highest value that the count could have
    smallest_cell : k
    """
    whole, part = (ledger.name_of(counted) for counted in behind[place[0]][place[1]].gives_away)
    (least, most), (fewest, highest) = range_of(whole), range_of(part)
    low = max(fewest, smallest_cell) / max(most, 1.0)
    high = min(highest / max(least, 1.0), 1.0)
    for multiple in range(math.floor(low / unit + 0.5 - NEAR), math.ceil(high / unit - 0.5 + NEAR) + 1):
        yield multiple * unit, told_of_share(whole, part, share_within(multiple * unit, unit), smallest_cell)


def cells_of_month(
    rows: Sequence[Place],
    unit: float,
    tables: Mapping[str, pd.DataFrame],
    behind: Behinds,
    ledger: Ledger,
    coarse: Mapping[Place, float],
    range_of: Callable[[str], Range],
    smallest_cell: int,
) -> Iterator[Cell]:
    """Each number that rows could have which say one thing of a curve at a month.

    Parameters
    ----------
    rows : all have the same number
    tables : as they leave, by name; these rows among them
    coarse : all that is told roundly, these rows too
    unit, behind, ledger, range_of, smallest_cell : as in `cells_of_share`
    """
    one = behind[rows[0][0]][rows[0][1]]
    failed = ledger.name_of(one.gives_away[0])
    fewest, most = range_of(failed)
    says, month = one.by_month.says, one.by_month.month
    steps = np.arange(month + 1) if says == MONTHS else np.arange(0, 1 + unit / 2, unit)
    tables = {name: table.copy() for name, table in tables.items()}
    places = {name: [at for of, at in rows if of == name] for name in {name for name, _ in rows}}
    could_be = False
    for number in steps if says == "failed" else steps[::-1]:  # from no failure on
        for name, at in places.items():
            tables[name].loc[at, "estimate" if "estimate" in tables[name] else "survival"] = number
        told = [
            one
            for of, ranges in told_by_month(tables, behind, ledger, coarse, smallest_cell)
            if set(of) & set(rows)
            for one in ranges
        ]
        mine = [one for one in told if set(one.of) == {failed}]
        if all(one.lowest <= most + NEAR and one.highest >= fewest - NEAR for one in mine):
            could_be = True
            yield float(number), told
        elif could_be:
            return
