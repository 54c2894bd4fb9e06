"""The study as it was first filed, its corrections ignored, and how many cells of each site were corrected since."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from liftseries.intake.corrections.lines import read_corrections
from liftseries.intake.draft.opened import stacked
from liftseries.intake.study import read_uncorrected
from liftseries.study.plan import Plan
from liftseries.study.schema import TABLES

OF_A_SITE = ("patients", "sites", "steps", "visits")
CELLS = ["table", "patient_id", "site_id", "n_cells"]


@dataclass(frozen=True)
class AsFiled:
    """What stood in the files before any cell was corrected.

    Attributes
    ----------
    tables : by name, the rows that can be read without corrections; empty where there are no corrections
    cells : shape (n_rows, 4), `table, patient_id, site_id, n_cells`
        Corrected cells of a row of patients (no site_id) or of a site (no patient_id), keys as corrected.
    """

    tables: dict[str, pd.DataFrame]
    cells: pd.DataFrame


def read_as_filed(plan: Plan) -> AsFiled:
    """The study without its corrections; a row that is refused without them is not there."""
    corrections = read_corrections(plan)
    if not corrections.lines:
        return AsFiled({}, pd.DataFrame(columns=CELLS))
    counts, drafts = [], stacked(plan, corrections, TABLES)
    for name in (name for name in OF_A_SITE if name in drafts):
        draft = drafts[name]
        place = pd.Index(draft.filed_at)
        cells = pd.Index([index for index, _ in draft.corrected], dtype=place.dtype)
        keys = [column for column in ("patient_id", "site_id") if column in draft.table.key]
        found = draft.frame.loc[place.isin(cells), keys].astype(object)
        n_cells = cells.value_counts().reindex(place[place.isin(cells)]).to_numpy()
        counts.append(found.assign(table=name, n_cells=n_cells))
    cells = pd.concat(counts, ignore_index=True).reindex(columns=CELLS)
    by = ["table", "patient_id", "site_id"]
    return AsFiled(read_uncorrected(plan), cells.groupby(by, dropna=False, as_index=False)["n_cells"].sum()[CELLS])
