"""A long table as a page shows it: its first rows, and the file that holds all.

A table of 500 centres is looked up, not read; on a page it would be most of the megabytes.
"""

from __future__ import annotations

from dataclasses import replace

from liftseries.report.kit.numbers import counted
from liftseries.report.kit.tables.cells import Display

MOST_ROWS = 250


def cut(table: Display, file: str) -> Display:
    """The table with no more than `MOST_ROWS` rows; below them a sentence that says how many there are, and where.

    Parameters
    ----------
    table
    file : that holds all rows: `tables/audit_units.csv`, `results.csv`
    """
    if len(table.rows) <= MOST_ROWS:
        return table
    told = f"The first {MOST_ROWS} of {counted(len(table.rows), 'row')}; {file} has all of them."
    note = "\n".join(filter(None, (told, table.note)))
    return replace(table, rows=table.rows[:MOST_ROWS], keys=table.keys[:MOST_ROWS], note=note)
