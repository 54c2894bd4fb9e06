"""Each headline question is answered, by a number or a bound: what a count that must be withheld is below.

*Situation:* of twelve patients the number of perforations cannot be told, nor that it is under 5. *Choice:* the lowest
multiple of k below which it can be told to lie, so that the attack still recovers nothing. *Rival:* to round it, which
would tell from where on, too.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liftseries.release.check import leaves_open
from liftseries.release.masking import Masked, masked_material

EVENTS = "n_events"  # the column of the counts that a question asks for; the others say of how many


def with_answers(masked: Masked, smallest_cell: int) -> Masked:
    """The same, with a bound for each count that a headline question asks for and that is withheld without one."""
    withheld = masked.ledger.withheld(masked.protection.withheld - masked.protection.told_as_few)
    n_sites = masked.ledger.population.n_sites
    asked = {name for (_, _, column), name in masked.ledger.cells.items() if column == EVENTS}
    series: list[np.ndarray] = []
    for name in sorted(masked.ledger.headline & asked & withheld):
        value = masked.ledger.entries[name].value
        for below in range((value // smallest_cell + 1) * smallest_cell, n_sites, smallest_cell):
            tried = _told_below(masked, name, below, smallest_cell)
            if leaves_open(tried, smallest_cell, series):
                masked = tried
                break
    return masked


def _told_below(masked: Masked, name: str, below: int, smallest_cell: int) -> Masked:
    ledger = replace(masked.ledger, told_below=masked.ledger.told_below | {name: below})
    material, told = masked_material(masked.whole, masked.behind, ledger, masked.protection, smallest_cell)
    return replace(masked, material=material, ledger=ledger, withheld=told)
