"""What corrections.csv came to: its lines with their states, the cells that were corrected, and how many by whom."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from liftseries.intake.corrections.lines import Corrections
from liftseries.intake.corrections.rows import canonical, key_text
from liftseries.intake.draft.draft import Draft

LINE_COLUMNS = ("line", "table", "key", "column", "person", "state")
CELL_COLUMNS = ("table", "key", "column", "file", "row", "line", "person", "followed")
COUNT_COLUMNS = ("table", "column", "cells", "rows", "people")


def lines_table(drafts: Mapping[str, Draft], corrections: Corrections) -> pd.DataFrame:
    """A row a line of the tables read, with its state; a line that withdraws another has none."""
    states = {number: state.value for draft in drafts.values() for number, state in draft.states.items()}
    rows = [
        (line.line, line.table, line.key, line.column, line.person, states.get(line.line, ""))
        for line in corrections.lines
        if line.table in drafts
    ]
    return pd.DataFrame(rows, columns=list(LINE_COLUMNS))


def corrected_cells(drafts: Mapping[str, Draft]) -> pd.DataFrame:
    """A row a cell that holds a corrected value, and a row a row left out.

    Returns
    -------
    table, key, column, file, row, line, person, followed
        `key`: of the row as corrected, as a line names it; before corrections where the row is left out (`column`
        empty). `followed`: a reference that went along with its key. Rows set aside are among them.
    """
    rows = []
    for name, draft in drafts.items():
        stacked_at = dict(zip(draft.filed_at.tolist(), range(len(draft)), strict=True))
        for (at, column), line in draft.corrected.items():
            if (index := stacked_at.get(at)) is not None:
                label, followed = draft.sources[int(draft.file_no[index])].told, (at, column) in draft.followed
                place = label, int(draft.rows[index])
                rows.append((name, _key(draft, index), column, *place, line.line, line.person, followed))
        for at, line in draft.lines_out.items():
            place = draft.sources[int(draft.filed.file_no[at])].told, draft.filed.row(at)
            rows.append((name, line.key, "", *place, line.line, line.person, False))
    return pd.DataFrame(rows, columns=list(CELL_COLUMNS))


def counts_of_corrected(corrected: pd.DataFrame) -> pd.DataFrame:
    """How many cells of each column were corrected, in how many rows, by how many people.

    Parameters
    ----------
    corrected : as `corrected_cells` gives it

    Returns
    -------
    table, column, cells, rows, people
        In the order of the tables; `column` empty: rows left out. The last row, with `table` and `column` empty, counts
        all, its people each once. No row where nothing was corrected. References that followed count as cells.
    """
    if corrected.empty:
        return pd.DataFrame(columns=list(COUNT_COLUMNS))
    groups = [
        (table, column, len(cells) if column else 0, _n_rows(cells), cells["person"].nunique())
        for (table, column), cells in corrected.groupby(["table", "column"], sort=False)
    ]
    every = ("", "", int(corrected["column"].ne("").sum()), _n_rows(corrected), corrected["person"].nunique())
    return pd.DataFrame([*groups, every], columns=list(COUNT_COLUMNS))


def n_corrected(corrected: pd.DataFrame) -> pd.DataFrame:
    """How many cells of each row were corrected: table, key, cells; rows left out are not among them."""
    cells = corrected[corrected["column"].ne("")]
    return cells.groupby(["table", "key"], sort=False).size().rename("cells").reset_index()


def _n_rows(cells: pd.DataFrame) -> int:
    return len(cells.drop_duplicates(["table", "file", "row", "key"]))


def _key(draft: Draft, index: int) -> str:
    return key_text([canonical(draft.raw[name][index], draft.table.columns[name]) for name in draft.table.key])
