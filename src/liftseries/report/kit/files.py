"""Which file of the output folder holds which table of a run; standard library only, for the workflow reads it."""

from __future__ import annotations

from liftseries.models.questions import QUESTIONS

ROWS = {
    "cases": "models/cases.parquet",
    "implants": "models/implants.parquet",
    "visits": "checked/visits.parquet",
}
# Tables that no question leaves.
SPINE = {
    "counts": "checked/counts.csv",
    "set_aside": "set_aside.csv",
    "ladder_cases": "models/ladder_cases.csv",
    "results": "results.csv",
}
LEFT = {table.name: f"models/{table.name}.csv" for question in QUESTIONS for table in question.leaves}
ESTIMATES = {analysis.name: f"models/{question.name}.csv" for question in QUESTIONS for analysis in question.analyses}


def file_of(source: str) -> str | None:
    """The file that a source of a figure lies in; None where it is the plan or the words.

    Raises
    ------
    KeyError
        There is no such table or analysis.
    """
    if source == "words" or source.startswith("plan:"):
        return None
    if source.startswith("results:"):
        return ESTIMATES[source.removeprefix("results:")]
    return (ROWS | SPINE | LEFT)[source]
