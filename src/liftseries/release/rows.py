"""Coarsened rows that leave the house with the report, and what anybody can count in them.

Every record is shared by at least smallest_cell patients, and the rows hold neither outcomes nor measurements. But
counts of them and counts of the report have parts in common: 209 women among the rows and 212 in the report would
tell of three whose row was emptied. So the ledger takes every count that the rows allow as known.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations

import pandas as pd

from liftseries.disclosure.coarsening import Coarsened, coarsened_tables
from liftseries.release.ledger import Ledger
from liftseries.study.schema import Table

TABLE = "rows"
ADVICE = ("rank", "table", "column", "to")
MOST_COLUMNS = 6  # of which all combinations are counted; with more, rows do not leave


def rows_of(tables: Mapping[str, pd.DataFrame], schema: Mapping[str, Table], smallest_cell: int) -> Coarsened:
    """The rows of patients and sites, coarse enough that `smallest_cell` patients share each record."""
    return coarsened_tables(tables, schema, smallest_cell)


def can_be_counted(rows: Coarsened) -> bool:
    """Whether there are rows, and so few columns that every combination of them can be in the ledger."""
    return bool(len(rows.tables["patients"])) and len(_columns(rows)) <= MOST_COLUMNS


def enter_rows(ledger: Ledger, rows: Coarsened) -> None:
    """Enters patients and sites by every combination of the rows' columns, and of how many sites a patient has."""
    records = _by_site(ledger.population.cases, rows)
    columns = [column for column in records if column != "told"]
    for size in range(len(columns) + 1):
        for chosen in combinations(columns, size):
            groups = records[["told", *chosen]]
            groups = groups.astype(object).where(groups.notna(), "")
            code = groups.groupby(["told", *chosen], sort=False).ngroup().to_numpy()
            for group in pd.unique(code[records["told"].to_numpy(bool)]):
                ledger.tells(TABLE, code == group, "sites")
                ledger.tells(TABLE, code == group, "patients")


def advice_of(rows: Coarsened) -> pd.DataFrame:
    """Which columns were made coarser, the most worth while first: `rank, table, column, to`.

    Neither patients freed nor bits go along: both are functions of counts of few patients. The order and the columns
    depend on such counts too, but no number is told; that is our judgement, no proof.
    """
    return rows.advice[list(ADVICE)]


def _columns(rows: Coarsened) -> list[str]:
    return [name for table in rows.tables.values() for name in table if name not in ("patient_no", "site_no")]


def _by_site(cases: pd.DataFrame, rows: Coarsened) -> pd.DataFrame:
    """What the rows tell of each site of the run; `told` is false where its patient is not among them."""
    patients = rows.records["patients"].set_index("patient_id")
    sites = rows.records["sites"].set_index("site_id").drop(columns="patient_id")
    n_sites = rows.records["sites"]["patient_id"].value_counts()
    patient_id, site_id = cases["patient_id"].astype(object), cases["site_id"].astype(object)
    told = pd.DataFrame({"told": patient_id.isin(patients.index), "n_sites": patient_id.map(n_sites)})
    of_patient = patients.reindex(patient_id).reset_index(drop=True)
    of_site = sites.reindex(site_id).reset_index(drop=True)
    return pd.concat([told.reset_index(drop=True), of_patient, of_site.add_prefix("site ")], axis=1)
