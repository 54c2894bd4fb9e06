"""What earlier releases alone leave of a count that the next one is to protect.

*Situation:* 1 to k - 1 patients must be able to be 1, and k - 1. After one patient was corrected, what the release
before told may leave a group of the new series three at most by itself, whatever the next one withholds. *Choice:* what
they alone leave is all that is asked of the next one, which must not narrow it further. A count of which they leave a
single number, as a lower k did, is out, whether there is a next release or not. *Rival:* to ask for k - 1 all the
same, by which one correction, or a higher k, can end all releases of a series.
"""

from __future__ import annotations

from collections.abc import Sequence

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
    missed = set(apart.loc[apart["recovered"], "name"])
    # Not whole numbers: what even these cannot reach is out of reach, however long one looks.
    limits = attack(counts, patients, values, sorted(missed), told).set_index("name")
    limits = limits.assign(lower=np.ceil(limits["lower"] - NEAR), upper=np.floor(limits["upper"] + NEAR))
    missing = [count for count in counts if count.name in missed]
    return {set_of(count): tuple(limits.loc[count.name, ["lower", "upper"]].astype(float)) for count in missing}
