"""Rules that one row decides: the expressions of schemas/oddities.yaml over the joined tables."""

from __future__ import annotations

import pandas as pd

from liftseries.intake.oddities.joined import HAIR, Joined, rows_told
from liftseries.study.expressions import names_in, null_safe
from liftseries.study.oddities import OddityRule


def odd_rows(rule: OddityRule, joined: Joined) -> pd.DataFrame:
    """Where the expression holds; a row in which a cell that it reads is missing is not odd."""
    constants = {**rule.limits, "closed": joined.closed, "hair": HAIR}
    read = names_in(rule.where)
    table = joined.tables[rule.table]
    table = table[[name for name in read if name in table]].assign(
        **{name: float(constants[name]) for name in read if name in constants}
    )
    return rows_told(table.index[null_safe(rule.where, where_unknown=False)(table).to_numpy(bool)])
