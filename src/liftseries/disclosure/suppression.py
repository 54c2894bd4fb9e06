"""Which counts must be withheld so that nobody can work out a small one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.disclosure.counts import Count, check_counts, n_patients_behind, value_of


@dataclass(frozen=True)
class Protection:
    """What is withheld, and what an attacker is left with.

    Attributes
    ----------
    suppressed : published counts with 1 to smallest_cell - 1 patients behind them
    complementary : published counts withheld so that those cannot be worked out
    intervals : one row for every sensitive count, published or not
        `name, value, patients, lower, upper, needed_lower, needed_upper, protected`: the values from `lower` to `upper`
        agree with all that stays published, so an attacker's interval is at least that wide.
    """

    suppressed: frozenset[str]
    complementary: frozenset[str]
    intervals: pd.DataFrame

    @property
    def withheld(self) -> frozenset[str]:
        """All that may not be printed."""
        return self.suppressed | self.complementary


def protect(
    counts: Sequence[Count],
    patients: np.ndarray,
    smallest_cell: int,
    *,
    weights: Mapping[str, float] | None = None,
) -> Protection:
    """Withhold small counts and as few others as are needed to hide them.

    Parameters
    ----------
    counts : the whole ledger; names are unique
    patients : shape (n_sites,), int
        The number of each site's patient.
    smallest_cell : fewest patients that a printed count may rest on
    weights : what withholding a count costs, by name; when absent, log(1 + value)

    Returns
    -------
    Protection

    Raises
    ------
    ValueError
        A ledger that contradicts itself; all faults named.
    """
    check_counts(counts, patients)
    behind = {count.name: n_patients_behind(count, patients) for count in counts}
    small = [count for count in counts if 1 <= behind[count.name] < smallest_cell]
    intervals = pd.DataFrame(
        [(c.name, value_of(c, patients), behind[c.name], 1, smallest_cell, 1, smallest_cell, False) for c in small],
        columns=["name", "value", "patients", "lower", "upper", "needed_lower", "needed_upper", "protected"],
    )
    printed = frozenset(count.name for count in small if count.published and not count.fixed)
    return Protection(printed, frozenset(), intervals)
