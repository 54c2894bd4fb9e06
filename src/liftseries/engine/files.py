"""Where each table of a run lies in the output folder.

A table is named as the declarations name it: `cases`, `visits`, one that a question leaves; `estimates:QUESTION` or
`results:ANALYSIS` for rows of results.csv. Standard library only: the workflow reads it at every start.
"""

from liftseries.models.questions import QUESTION_OF

# Tables that no question leaves.
SPINE = {
    "cases": "models/cases.parquet",
    "implants": "models/implants.parquet",
    "visits": "checked/visits.parquet",
    "counts": "checked/counts.csv",
    "sites_not_applicable": "checked/sites_not_applicable.parquet",
    "set_aside": "set_aside.csv",
    "ladder_cases": "models/ladder_cases.csv",
    "results": "results.csv",
}


def file_of(source: str) -> str:
    """Where a table lies, within the output folder."""
    kind, _, name = source.rpartition(":")
    if kind == "estimates":
        return f"models/{name}.csv"
    if kind == "results":
        return f"models/{QUESTION_OF[name].name}.csv"
    return SPINE.get(source, f"models/{source}.csv")
