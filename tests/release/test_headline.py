"""Series so small that they tell the headline's counts alone."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from liftseries.disclosure.attack import told_apart
from liftseries.disclosure.counts import Count, n_patients_behind, value_of
from liftseries.release.headline import headline_alone

SMALLEST_CELL = 5
PATIENTS = np.repeat(np.arange(12), 2)


def headline(torn: np.ndarray):
    """Twelve patients of two sites each, some torn: what is told of both counts, and whether it gives any away."""
    counts = [Count("all | t", PATIENTS >= 0, table="t"), Count("torn | t", torn, table="t")]
    entries = {
        count.name.partition(" | ")[0]: SimpleNamespace(
            value=value_of(count, PATIENTS), n_patients=n_patients_behind(count, PATIENTS)
        )
        for count in counts
    }
    ledger = SimpleNamespace(
        entries=entries, headline=set(entries), patients=PATIENTS, told_before=(), left={}, barred=frozenset()
    )
    told = headline_alone(ledger, counts, SMALLEST_CELL)
    few = {count.name: (0, SMALLEST_CELL - 1) for count in counts if count.name in told.told_as_few}
    values = {count.name: value_of(count, PATIENTS) for count in counts if count.name not in told.withheld} | few
    n = entries["torn"].value
    needed = {"torn | t": (1.0, float(max(SMALLEST_CELL - 1, n + (n >= SMALLEST_CELL))))}
    return told, told_apart(counts, PATIENTS, values, needed)["recovered"].any()


def test_three_torn_on_one_side_are_told_as_few():
    told, is_recovered = headline((PATIENTS < 3) & (np.arange(24) % 2 == 0))
    assert told.told_as_few == {"torn | t"}
    assert not is_recovered


def test_six_sites_of_three_patients_are_not_told_to_be_fewer_than_five():
    told, is_recovered = headline(PATIENTS < 3)
    assert told.told_as_few == frozenset()
    assert "torn | t" in told.withheld
    assert "all | t" not in told.withheld
    assert not is_recovered
