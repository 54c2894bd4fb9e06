"""Tears as recorded: stage, size, test, management, what followed, and by case number."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.base.remarks import remarks_in
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, decimal, missing, share_of
from liftseries.report.kit.tables.cells import TRACE, Content, content_of
from liftseries.report.kit.tables.described import (
    HEADINGS,
    Cells,
    heading,
    measured_cells,
    recorded,
    share_cells,
    share_interval,
    traces,
)
from liftseries.report.kit.words import Words, trace_of

DESCRIBED = (
    "perforation.stage",
    "perforation.size",
    "perforation.test",
    "perforation.management",
    "perforation.sequel",
)
TORN, NOT_TORN = "perforation=yes", "perforation=no"
STAGES = {"drilling": "while drilling", "lifting": "while lifting", "grafting": "while grafting",
          "placing": "while placing the implant", "unknown": "stage not recorded"}  # fmt: skip
MANAGEMENT = {"none": "nothing", "membrane": "covered with a membrane", "suture": "sutured",
              "delayed": "lift put off", "abandoned": "lift given up", "other": "something else",
              "unknown": "not recorded"}  # fmt: skip
TESTS = {"none": "not looked for"}
SEQUELS = {"no_implant": "no implant placed", "failure": "implant failed"}


def tears_table(material: Material, words: Words) -> Content | None:
    """Tears: stage, size, test, management, sequel; None where nothing of it was recorded."""
    of = {analysis: material.rows(analysis) for analysis in DESCRIBED}
    rows = [
        *_shares("Noticed", of["perforation.stage"], STAGES, only_seen=True),
        *_size(of["perforation.size"]),
        *_shares("What was done", of["perforation.management"], MANAGEMENT, only_seen=True),
        *_shares("Torn, by how it was looked for", of["perforation.test"], TESTS),
        *_sequels(of["perforation.sequel"]),
    ]
    return content_of(
        HEADINGS,
        rows,
        "Shares of the tears, and below them of the sites looked at in each way, with patients as clusters. What "
        "followed is counted at torn sites and at the others, whatever the time followed: failures of implants seen at "
        "a visit, complications of sites asked about them. The two kinds of site differ in more than the tear. "
        f"Rows of results.csv: {', '.join(DESCRIBED)}.",
        traces(*of.values()),
    )


def _shares(title: str, rows: pd.DataFrame, names: dict[str, str], only_seen: bool = False) -> Iterable[Cells]:
    """A heading and a line a level; of levels that never occurred none where only those seen are wanted."""
    rows = recorded(rows)
    if only_seen:
        rows = rows[pd.to_numeric(rows["n_events"]).fillna(0).ne(0)]
    if len(rows):
        yield heading(title)
    for _, row in rows.iterrows():
        yield share_cells(names.get(row["term"], row["term"].replace("_", " ")), row)


def _size(rows: pd.DataFrame) -> Iterable[Cells]:
    cells = measured_cells("mm", rows)
    if cells:
        yield heading("Largest diameter")
        yield cells


def _sequels(rows: pd.DataFrame) -> Iterable[Cells]:
    """Torn sites beside the others, of what happened to any; nothing where no site tore."""
    rows = recorded(rows)
    torn, others = ({row["term"]: row for _, row in rows[rows["subset"].eq(s)].iterrows()} for s in (TORN, NOT_TORN))
    if not torn:
        return
    yield heading("What followed")
    for term in dict.fromkeys((*torn, *others)):
        pair = [(group, of[term]) for group, of in (("torn", torn), ("not torn", others)) if term in of]
        if term == "months":
            for group, row in pair:
                yield (f"   months followed: {group}", count(row["n_sites"]), f"median {decimal(row['estimate'], 1)}")
        elif any(row["n_events"] for _, row in pair):
            name = SEQUELS.get(term, term.replace("_", " "))
            yield from (share_cells(f"{name}: {group}", row) for group, row in pair)


def learning_table(material: Material, words: Words) -> Content | None:
    """Tears by the operator's case number; None below the events that a comparison needs, and where none is known."""
    rows = recorded(material.rows("perforation.learning"))
    if not may_be_compared(rows):
        return None
    printed = [
        (
            case_band(row).replace(">", "above "),
            share_of(row["n_events"], row["n_sites"]),
            share_interval(row),
            count(operators(row)),
            trace_of(row),
        )
        for _, row in rows.iterrows()
    ]
    return content_of(
        ("Operator's case number", "Torn", "95% interval", "Operators", TRACE),
        printed,
        "Patients as clusters. Operators differ in more than their case number, and not all of them reach the later "
        "cases: a lower share there need not be learning.",
    )


def may_be_compared(learning: pd.DataFrame) -> bool:
    """Whether there are tears enough for the report to set bands of case numbers side by side."""
    return bool(len(learning) and learning["headline"].astype(bool).any())


def case_band(row) -> str:
    """`1 to 10`, `>40`."""
    return str(row["subset"]).partition("=")[2]


def operators(row) -> int | None:
    """How many operators had cases in a band, as its note says."""
    if missing(row["note"]):
        return None
    return next((one.holes["n_operators"] for one in remarks_in(row["note"]) if one.name == "by_operators"), None)
