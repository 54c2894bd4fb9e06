"""Survival curves as they may leave the house: told at the months whose counts are in the report's own table.

A curve steps at every failure, so each step is a record. Just before a month it is worked out from those who failed
before that month, a count that the table of numbers at risk prints: so the curve needs no count of its own.
"""

from __future__ import annotations

import pandas as pd

from liftseries.release.ledger import Ledger

COLUMNS = ["subset", "months", "survival", "conf_low", "conf_high"]


def curves_at_months(curves: pd.DataFrame, at_risk: pd.DataFrame) -> pd.DataFrame:
    """Each subset's curve just before each month of the table of numbers at risk.

    Parameters
    ----------
    curves : `subset, months, survival, conf_low, conf_high`, a row a step
    at_risk : `subset, months` and counts
    """
    rows = []
    for subset, months in at_risk[["subset", "months"]].itertuples(index=False):
        steps = curves.loc[curves["subset"].eq(subset) & curves["months"].lt(months)].sort_values("months")
        told = steps[COLUMNS[2:]].iloc[-1].tolist() if len(steps) else [1.0, float("nan"), float("nan")]
        rows.append((subset, months, *told))
    return pd.DataFrame(rows, columns=COLUMNS)


def enter_curves(ledger: Ledger, curves: pd.DataFrame) -> None:
    """Enters who failed before each month, and who was still followed."""
    p = ledger.population
    for position, row in enumerate(curves.itertuples(index=False)):
        part = p.followed & p.subset(row.subset)
        tables = ["survival"] if row.subset == "all" else [f"survival by {row.subset.partition('=')[0]}"]
        ledger.gives_away(("survival_curves", position), tables, part & p.failed & (p.months < row.months))
        ledger.rests(("survival_curves", position), part & (p.months >= row.months))
