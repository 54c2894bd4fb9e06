"""A reader who adds and subtracts all that the bundle prints works out no count of few patients."""

from __future__ import annotations

import pandas as pd
from release_series import SMALLEST_CELL, made_series_of

from liftseries.disclosure.attack import attack
from liftseries.release.bundle import released_results


def test_no_small_count_can_be_worked_out_from_what_is_printed():
    made = made_series_of(n_patients=40, seed=8, visits=False, log=False)
    masked, ledger = made.masked, made.masked.ledger
    results = released_results(masked.material.results, made.whole.results)
    printed = {}
    for (table, row, column), name in ledger.cells.items():
        shown = (results if table == "results" else getattr(masked.material, table))[column].iloc[row]
        if pd.notna(shown) and shown >= 0:
            printed[name] = int(shown)
    counts = ledger.counts(SMALLEST_CELL)
    values = {c.name: printed.get(c.name.partition(" | ")[0]) if c.published else None for c in counts}
    bounds = attack(counts, made.population.patients, values).set_index("name")
    sensitive = masked.protection.intervals
    assert len(sensitive)
    reached = bounds.loc[sensitive["name"]]
    assert (reached["lower"].to_numpy() <= sensitive["needed_lower"].to_numpy() + 1e-6).all()
    assert (reached["upper"].to_numpy() >= sensitive["needed_upper"].to_numpy() - 1e-6).all()
