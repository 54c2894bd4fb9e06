"""Cells of outcomes that were empty and were taken for an answer, by `empty_means`; analyses are made without them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from liftseries.intake.draft.draft import Draft
from liftseries.study.forms import OUTCOMES

COLUMNS = ["table", "column", "site_id", "months"]


def filled_cells(drafts: Mapping[str, Draft], kept: Mapping[str, np.ndarray]) -> pd.DataFrame:
    """A row a cell of an outcome that was empty in its file; not where a line of corrections.csv gave it a value.

    Parameters
    ----------
    drafts : stacked and checked
    kept : table -> where its rows kept stand among those read

    Returns
    -------
    table, column, site_id, months
        Months are empty for a cell of sites.
    """
    found = []
    for name, draft in drafts.items():
        for column in (column for column in OUTCOMES if column in draft.table.columns):
            empty = [sheet.filled.get(column, np.zeros(len(sheet.rows), bool)) for sheet in draft.sheets.values()]
            empty = np.concatenate([np.zeros(0, bool), *empty])
            corrected = [at for at, of in draft.corrected if of == column]
            rows = kept[name][(empty & ~np.isin(draft.filed_at, corrected))[kept[name]]]
            if len(rows):
                keys = [key for key in ("site_id", "months") if key in draft.table.key]
                found.append(draft.frame.iloc[rows][keys].assign(table=name, column=column))
    return pd.concat(found, ignore_index=True).reindex(columns=COLUMNS) if found else pd.DataFrame(columns=COLUMNS)
