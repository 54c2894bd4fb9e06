"""Which numbers that earlier releases told roundly may be told otherwise now.

*Situation:* of a share told as 30 per cent, and as 32 after one patient came, the two together say where it lay, and
what happened to that patient. *Choice:* where whom a number tells of has changed by fewer than k persons, it is told by
the same grid, and only where that gives the same number; else it is withheld. Where nobody has changed, it is told
again. *Rival:* to leave it to the attack, which takes in all that was told. *Consequence:* a correction of one
patient may cost a number that lies near the end of its cell; that it is withheld tells no more than the number would,
as whichever number of that grid were told, the attack must recover nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.disclosure.counts import n_of
from liftseries.disclosure.declared import Behind
from liftseries.models.questions import tables_that_may_leave
from liftseries.models.shared.results import KEY
from liftseries.release.before import Roundly
from liftseries.release.digits import Grid
from liftseries.release.entries import RESULTS
from liftseries.release.ledger import Place
from liftseries.release.masking import Masked


@dataclass(frozen=True)
class MayBe:
    """How a number may be told.

    Attributes
    ----------
    grids : by which, in this order
    numbers : as which alone; empty where as any
    again : by which it was told of the same sets before, so that it tells nothing new whatever else it could have been
    """

    grids: Sequence[Grid]
    numbers: frozenset[float]
    again: Grid | None = None

    def told_as(self, number: float) -> bool:
        """Whether it may be told as this number."""
        return self.numbers in (frozenset(), frozenset({number}))


def may_be(masked: Masked, rows: Sequence[Place], grids: Sequence[Grid], smallest_cell: int) -> MayBe:
    """How rows that say the same may be told roundly.

    Parameters
    ----------
    masked : what leaves
    rows
    grids : by which they might be told had there been no earlier release
    smallest_cell : k
    """
    changed = [(_n_changed(masked, row, one), one) for row in rows for one in _earlier(masked, row)]
    few = [one for n, one in changed if 0 < n < smallest_cell]
    of_few = list(dict.fromkeys(one.grid for one in few))
    if len(of_few) > 1:
        return MayBe([], frozenset())
    again = None if few else next((one.grid for n, one in changed if not n), None)
    return MayBe(of_few or grids, frozenset(one.number for one in few), again)


def _earlier(masked: Masked, row: Place) -> Sequence[Roundly]:
    before, (name, at) = masked.ledger.before, row
    return before.roundly.get(row_key(name, masked.whole.table(name), at), ()) if before else ()


def _n_changed(masked: Masked, row: Place, earlier: Roundly) -> int:
    """By how many persons the sets behind a row differ from those behind an earlier number."""
    ledger, (name, at) = masked.ledger, row
    sets = [ledger.with_earlier(members) for members in sets_behind(masked.behind[name][at])]
    if len(sets) != len(earlier.sets):
        return 1  # nobody can say
    changes = ((one ^ other) | (one & earlier.changed) for one, other in zip(sets, earlier.sets, strict=True))
    numbers = [n_of(ledger.patients, change) for change in changes]
    return min((n for n in numbers if n), default=0)


def sets_behind(behind: Behind) -> list[np.ndarray]:
    """The sets whose counts a number told roundly tells of, then all that it rests on; shape (n_sites,) each."""
    of_all = behind.by_month.followed if behind.by_month else behind.rests_on[0]
    return [*(counted.members for counted in behind.gives_away), of_all]


def row_key(name: str, table: pd.DataFrame, at: int) -> str:
    """By what a row is known again in another release: its table, and what stands in it that is no estimate."""
    rules = tables_that_may_leave()[name]
    columns = [c for c in table if c not in rules.numbers or c in rules.labels]
    row = table.iloc[at]
    return ", ".join([name, *(str(row[column]) for column in (KEY if name == RESULTS else columns))])
