"""What earlier releases alone leave of a count that the next one is to protect.

*Situation:* 1 to k - 1 patients must be able to be 1, and k - 1. After one patient was corrected, what the release
before told may leave a group of the new series three at most by itself, whatever the next one withholds. *Choice:* what
they alone leave is all that is asked of the next one, which must not narrow it further. A count of which they leave a
single number, as a lower k did, is out, whether there is a next release or not. *Rival:* to ask for k - 1 all the
same, by which one correction, or a higher k, can end all releases of a series.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from liftseries.disclosure.attack import attack, told_apart
from liftseries.disclosure.counts import Count, Set, set_of, value_of
from liftseries.disclosure.needs import Need, needs_of
from liftseries.disclosure.parts import NEAR, Together


def left_by_earlier(
    counts: Sequence[Count],
    patients: np.ndarray,
    smallest_cell: int,
    earlier: Sequence[Count],
    told: Sequence[Together],
) -> dict[Set, Need]:
    """The counts that earlier releases alone leave less than they need: the lowest and highest that they leave.

    Parameters
    ----------
    counts : the whole ledger, the earlier among them
    patients : shape (n_sites,), the number of each site's patient
    smallest_cell : k
    earlier : counts of earlier releases; those that are fixed are known
    told : what earlier releases told of several together
    """
    needs = needs_of(counts, patients, smallest_cell, {})
    values = {count.name: value_of(count, patients) for count in earlier if count.fixed}
    apart = told_apart(counts, patients, values, needs, told)
    missed = set(apart.loc[apart["recovered"], "name"]) if len(apart) else set()
    if not missed:
        return {}
    group = {count.name: set_of(count) for count in counts if count.name in missed}
    left = _limits(counts, patients, values, sorted(missed), told)
    # What even numbers that need not be whole cannot reach is out of reach, however long one looks. Whole ones take
    # longer: only what no series in them takes as far is asked of them.
    needs = needs_of(counts, patients, smallest_cell, {group[name]: limits for name, limits in left.items()})
    apart = told_apart(counts, patients, values, {name: needs[name] for name in left}, told)
    found = apart[apart["recovered"]].set_index("name")
    for name, (low, high) in _limits(counts, patients, values, list(found.index), told, integers=True).items():
        left[name] = min(low, found.loc[name, "lower"]), max(high, found.loc[name, "upper"])
    return {group[name]: limits for name, limits in left.items()}


def _limits(
    counts: Sequence[Count],
    patients: np.ndarray,
    values: Mapping[str, int],
    names: Sequence[str],
    told: Sequence[Together],
    *,
    integers: bool = False,
) -> dict[str, Need]:
    """The lowest and highest whole number between the attack's limits, by name."""
    limits = attack(counts, patients, values, names, told, integers=integers)
    lower, upper = np.ceil(limits["lower"] - NEAR), np.floor(limits["upper"] + NEAR)
    return {name: (float(low), float(high)) for name, low, high in zip(names, lower, upper, strict=True)}
