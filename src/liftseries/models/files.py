"""Where each table of a run lies in the output folder, by the name that declarations give it. Opens no file.

A table is named `cases`, `visits` and the like, or as the question that leaves it declares; `estimates:QUESTION` and
`results:ANALYSIS` are rows of results.csv. Standard library only: the workflow reads it at every start.
"""

from liftseries.models.questions import QUESTION_OF, question

WORK = "work"  # what one job leaves for the next; models/ and derived/ are for people
PARTS = ("formula", "covariance", "used")  # of a fitted model, a table each

# Tables that no question leaves.
SPINE = {
    "cases": f"{WORK}/cases.parquet",
    "cases_as_filed": f"{WORK}/cases_as_filed.parquet",  # corrections ignored; read for an audit alone
    "corrected_cells": f"{WORK}/corrected_cells.csv",
    "implants": f"{WORK}/implants.parquet",
    "visits": "checked/visits.parquet",
    "actions": "checked/actions.parquet",
    "responses": "checked/responses.parquet",
    "changes": "checked/changes.parquet",
    "derived_steps": "derived/steps.csv",
    "counts": "checked/counts.csv",
    "sites_not_applicable": "checked/sites_not_applicable.parquet",
    "set_aside": "set_aside.csv",
    "corrected": "checked/corrected.csv",
    "filled_cells": "checked/filled_cells.csv",  # of outcomes, empty in their file and taken for an answer
    "oddities": "oddities.csv",
    "odd_sites": f"{WORK}/odd_sites.csv",
    "ladder_cases": f"{WORK}/ladder_cases.csv",
    "results": "results.csv",
    "since_earlier": "earlier/since.csv",  # stays in the house
}


def work_file(name: str) -> str:
    """The file that a job leaves for the next under that name."""
    return f"{WORK}/{name}.csv"


def where(source: str) -> tuple[str, tuple[str, ...]]:
    """The file of a table, and the analyses whose rows of it are meant; none where all rows are.

    Raises
    ------
    KeyError
        There is no such question or analysis.
    """
    kind, _, name = source.rpartition(":")
    if kind == "estimates":
        return work_file(name), tuple(analysis.name for analysis in question(name).analyses)
    if kind == "results":
        return work_file(QUESTION_OF[name].name), (name,)
    return SPINE.get(source, work_file(source)), ()


def file_of(source: str) -> str:
    """The file of a table, within the output folder."""
    return where(source)[0]
