"""Empty cells that are not applicable: by what the row's other cells say, nothing was to be recorded there.

They are kept apart from what nobody recorded up to the report; to models both are missing.
"""

from __future__ import annotations

import numpy as np

from liftseries.intake.draft.draft import Draft
from liftseries.study.expressions import as_array, names_in, null_safe
from liftseries.study.schema import UNKNOWN


def mark_not_applicable(draft: Draft) -> None:
    """Marks the empty cells of rows in which the schema says that the column does not apply.

    A cell that the expression reads may be missing, `unknown` or at fault: then nobody knows whether the column
    applies, and an empty cell counts as not recorded.
    """
    if not len(draft):
        return
    table = draft.masked()
    for name, column in draft.table.columns.items():
        if column.applies:
            applies = null_safe(column.applies)(table).to_numpy(bool)
            applies |= np.logical_or.reduce([as_array(table[read]) == UNKNOWN for read in names_in(column.applies)])
            draft.not_applicable[name] |= ~applies & draft.frame[name].isna().to_numpy() & draft.sound[name]
