"""What a count of few patients must be able to be, so that nobody can tell how few they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from liftseries.disclosure.counts import Count, Set, n_patients_behind, set_of, value_of

Need = tuple[float, float]  # what a count must be able to fall to, and to rise to


def need_of(value: float, smallest_cell: int, left: Need = (0.0, np.inf)) -> Need:
    """1 and k - 1, and of k sites of few patients or more, one site more than there are; or what is `left` of that."""
    highest = max(smallest_cell - 1.0, value + (value >= smallest_cell))
    return max(1.0, left[0]), min(highest, left[1])


def needs_of(
    counts: Sequence[Count], patients: np.ndarray, smallest_cell: int, left: Mapping[Set, Need]
) -> dict[str, Need]:
    """The need of each count of few patients, by name: of each set, one. What is known is out already and has none.

    Parameters
    ----------
    counts : the whole ledger
    patients : shape (n_sites,)
    smallest_cell : k
    left : what earlier releases leave: see `earlier`
    """
    out = {set_of(count) for count in counts if count.fixed}
    few = {set_of(count): count for count in counts if 1 <= n_patients_behind(count, patients) < smallest_cell}
    return {
        count.name: need_of(value_of(count, patients), smallest_cell, left.get(group, (0.0, np.inf)))
        for group, count in few.items()
        if group not in out
    }
