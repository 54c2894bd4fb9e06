"""Empty cells that are not applicable: by what the row's other cells say, nothing was to be recorded there.

They are kept apart from what nobody recorded up to the report; to models both are missing.
"""

from __future__ import annotations

from liftseries.intake.draft.draft import Draft
from liftseries.study.expressions import null_safe


def mark_not_applicable(draft: Draft) -> None:
    """Marks the empty cells of rows in which the schema says that the column does not apply.

    A cell that the expression reads may be missing, `unknown` or at fault: then nobody knows whether the column
    applies, and an empty cell counts as not recorded.
    """
    known = None
    for name, column in draft.table.columns.items():
        if column.applies and len(draft):
            if known is None:
                table = draft.masked()
                known = table.where(table.astype(object).ne("unknown"))
            applies = null_safe(column.applies)(known).to_numpy(bool)
            draft.not_applicable[name] |= ~applies & draft.frame[name].isna().to_numpy() & draft.sound[name]
