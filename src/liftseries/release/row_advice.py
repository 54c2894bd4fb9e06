"""Which columns would have to be coarser before rows of this series could leave the house.

The coarsened tables themselves are not released. Whoever adds up their rows has totals by every combination of their
columns, also where the report withholds a part of such a total; and the ledger does not know those combinations, so
that nobody has shown which withheld counts they would give back. Of the advice neither patients freed nor bits go
along: both are functions of counts of few patients. The order and the columns depend
on such counts too, but no number is told; that is our judgement, no proof.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from liftseries.disclosure.coarsening import coarsened_tables
from liftseries.schema import Table

COLUMNS = ("rank", "table", "column", "to")


def row_advice(tables: Mapping[str, pd.DataFrame], schema: Mapping[str, Table], smallest_cell: int) -> pd.DataFrame:
    """Columns to coarsen, the most worth while first: `rank, table, column, to`.

    Parameters
    ----------
    tables : patients and sites, as intake gives them
    schema : says which columns point at a person
    smallest_cell : patients that would have to share every record
    """
    return coarsened_tables(tables, schema, smallest_cell).advice[list(COLUMNS)]
