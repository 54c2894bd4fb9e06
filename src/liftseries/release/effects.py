"""What design effects that are told as 1 or 2 tell of the counts behind them.

Of D sites with an event, q of them a patient's second or third, a design effect is about 1 + 2 q / D, and m / (m - 1)
times as much for a share with m patients. So it is below one and a half where D lies above 4 q, or thereabouts; of
which only a reader learns something who knows q, by patients counted beside their sites or by numbers told in full of
more sites or of fewer.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from liftseries.disclosure.declared import Behind, Counted
from liftseries.disclosure.parts import Together
from liftseries.release.entries import RESULTS
from liftseries.release.ledger import Ledger, Place
from liftseries.release.masking import Masked

SITES_A_SECOND = 4  # D of each q at the limit between 1 and 2
WIDER = 2.0  # times which the limit may be off
Again = Sequence[tuple[np.ndarray, int]]  # sets of sites, and how many of each are a patient's second or third


def told_effects(masked: Masked, smallest_cell: int) -> Iterator[tuple[list[Place], list[Together]]]:
    """What those that are told tell of counts, by name in the ledger, row by row."""
    again, printed = known_again(masked), masked.material.results["estimate"]
    for name, at in masked.ledger.coarse:
        behind = masked.behind[name][at]
        if name == RESULTS and behind.effect and pd.notna(printed.iloc[at]):
            told = told_of_effect(float(printed.iloc[at]), behind, masked.ledger, again, smallest_cell)
            yield [(name, at)], told


def told_of_effect(
    number: float, behind: Behind, ledger: Ledger, again: Again, smallest_cell: int, times: float = WIDER
) -> list[Together]:
    """What is known of the counts behind an effect: k patients each, and more or fewer than a multiple of q.

    Parameters
    ----------
    number : 1 or 2
    behind : who stands behind it
    ledger
    again : what is known of q
    smallest_cell : k
    times : by how much the limits are set wider
    """
    found = [Together({ledger.name_of(counted): 1.0}, smallest_cell, math.inf) for counted in behind.gives_away]
    for counted in events_of(behind):
        name, patients = ledger.name_of(counted), ledger.name_of(Counted(counted.members, "patients"))
        fewest = max((q for members, q in again if not (members & ~counted.members).any()), default=0)
        most = min((q for members, q in again if not (counted.members & ~members).any()), default=math.inf)
        if number > 1:
            found.append(Together({name: -1.0}, -SITES_A_SECOND * times * most, math.inf))
        else:
            found.append(Together({name: 1.0}, SITES_A_SECOND / times * fewest, math.inf))
        if patients is not None:
            each = SITES_A_SECOND * (times if number > 1 else 1 / times)
            sign = 1.0 if number > 1 else -1.0
            found.append(Together({name: sign * (each - 1), patients: -sign * each}, 0.0, math.inf))
    return [one for one in found if one.lowest > -math.inf]


def events_of(behind: Behind) -> list[Counted]:
    """The sites with an event: what lies within another of its counts, or each where none does."""
    of_sites = [counted for counted in behind.gives_away if counted.unit == "sites"]
    within = [one for one in of_sites if any(_lies_within(one.members, other.members) for other in of_sites)]
    return within or of_sites


def known_again(masked: Masked) -> Again:
    """Sets of which is known how many sites are a patient's second or third, and how many these are."""
    ledger, population = masked.ledger, masked.ledger.population
    gone = ledger.withheld(masked.protection.withheld)
    sets = [
        entry.members
        for name, entry in ledger.entries.items()
        if entry.unit == "sites"
        and all(ledger.is_told(Counted(entry.members, unit), gone) for unit in ("sites", "patients"))
    ]
    printed = masked.material.results["estimate"].notna()
    for at, behind in enumerate(masked.behind[RESULTS]):
        if behind is not None and printed.iloc[at] and (RESULTS, at) not in ledger.coarse:
            sets += [counted.members for counted in events_of(behind)]
    sets = list({members.tobytes(): members for members in sets}.values())
    return [(members, int(members.sum()) - population.n_patients(members)) for members in sets]


def _lies_within(part: np.ndarray, whole: np.ndarray) -> bool:
    return bool(part.sum() < whole.sum() and not (part & ~whole).any())
