"""Which counts earlier releases told otherwise, of nearly the same persons; and which of few patients they told.

*Situation:* of 20 perforations one was corrected to none, and two of none to one: 21 of nearly the same patients.
*Choice:* a count whose set has changed by 1 to k - 1 persons since it was told is told again if it is the same number,
and withheld if it is another. *Rival:* to leave it to the attack, by which 21 less 20 tell of no set of persons.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liftseries.disclosure.counts import Count, n_of, set_of, value_of
from liftseries.release.ledger import Ledger


def out_already(ledger: Ledger, smallest_cell: int) -> list[str]:
    """The names of counts of 1 to k - 1 patients that earlier releases told or leave no other number, by a lower k."""
    earlier = ledger.before.counts if ledger.before else []
    told = {set_of(count) for count in earlier if count.fixed}
    told |= {group for group, (lowest, highest) in ledger.left.items() if lowest == highest}
    counts = ledger.counts(smallest_cell) if told else []
    few = {name for name, entry in ledger.entries.items() if 1 <= entry.n_patients < smallest_cell}
    return sorted(few & {count.name.rpartition(" | ")[0] for count in counts if set_of(count) in told})


def told_otherwise(ledger: Ledger, earlier: Sequence[Count], smallest_cell: int) -> frozenset[str]:
    """The names of counts of the ledger that may not be told.

    Parameters
    ----------
    ledger
    earlier : counts of earlier releases, fixed where they were told
    smallest_cell : k
    """
    most = smallest_cell * int(np.bincount(ledger.patients).max(initial=1))  # sites of k patients
    found = set()
    for unit in ("sites", "patients"):
        told = [count for count in earlier if count.fixed and count.unit == unit]
        names = [name for name, entry in ledger.entries.items() if entry.unit == unit]
        if not told or not names:
            continue
        old = np.array([count.members for count in told], np.float32)
        new = np.array([ledger.with_earlier(ledger.entries[name].members) for name in names], np.float32)
        changed = new.sum(axis=1)[:, None] + old.sum(axis=1) - 2 * new @ old.T
        value = np.array([value_of(count, ledger.patients) for count in told])
        others = value != np.array([ledger.entries[name].value for name in names])[:, None]
        for i, j in zip(*np.nonzero((changed > 0) & (changed < most) & others), strict=True):
            if n_of(ledger.patients, new[i] != old[j]) < smallest_cell:
                found.add(names[i])
    return frozenset(found)
