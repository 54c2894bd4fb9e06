"""The attack on what is about to leave: which counts of few patients can be worked out from all that is shown."""

from __future__ import annotations

import pandas as pd

from liftseries.disclosure.attack import attack
from liftseries.models.questions import tables_that_may_leave
from liftseries.release.masking import Masked, tables_of

NEAR = 1e-6  # of the bounds of a linear programme


def worked_out(masked: Masked, smallest_cell: int) -> list[str]:
    """Names of the counts of few patients that a reader can tell from larger ones to less than is promised."""
    ledger, promised = masked.ledger, masked.protection.intervals
    if promised.empty:  # nothing of few patients, or a series of which no count is shown
        return []
    values, counts = shown_values(masked), ledger.counts(smallest_cell)
    known = {count.name: values.get(count.name.rpartition(" | ")[0]) if count.published else None for count in counts}
    bounds = attack(counts, ledger.population.patients, known).set_index("name").reindex(promised["name"])
    narrow = bounds["lower"].isna().to_numpy()  # it has no bounds, for it is shown itself
    narrow |= bounds["lower"].to_numpy() > promised["needed_lower"].to_numpy() + NEAR
    narrow |= bounds["upper"].to_numpy() < promised["needed_upper"].to_numpy() - NEAR
    return promised.loc[narrow, "name"].tolist()


def shown_values(masked: Masked) -> dict[str, int]:
    """What is printed, or can be worked out from an estimate that is: name in the ledger -> value."""
    ledger, tables, declared = masked.ledger, tables_of(masked.material), tables_that_may_leave()
    names = set(ledger.known)
    for (table, row, column), name in ledger.cells.items():
        value = tables[table][column].iloc[row]
        if pd.notna(value) and value >= 0:
            names.add(name)
    for (table, row), given_away in ledger.given_away.items():
        numbers = [column for rule in declared[table].rules if rule.given_away for column in rule.numbers]
        if tables[table].iloc[row].reindex(numbers).notna().any():
            names |= given_away
    return {name: ledger.entries[name].value for name in names}
