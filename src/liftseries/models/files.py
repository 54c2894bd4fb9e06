"""Where each table of a run lies in the output folder, by the name that declarations give it. Opens no file.

A table is named `cases`, `visits` and the like, or as the question that leaves it declares; `estimates:QUESTION` and
`results:ANALYSIS` are rows of results.csv. Standard library only: the workflow reads it at every start.
"""

from liftseries.models.questions import QUESTION_OF, question

# Tables that no question leaves.
SPINE = {
    "cases": "models/cases.parquet",
    "implants": "models/implants.parquet",
    "visits": "checked/visits.parquet",
    "derived_steps": "derived/steps.csv",
    "counts": "checked/counts.csv",
    "sites_not_applicable": "checked/sites_not_applicable.parquet",
    "set_aside": "set_aside.csv",
    "ladder_cases": "models/ladder_cases.csv",
    "results": "results.csv",
}


def where(source: str) -> tuple[str, tuple[str, ...]]:
    """The file of a table, and the analyses whose rows of it are meant; none where all rows are.

    Raises
    ------
    KeyError
        There is no such question or analysis.
    """
    kind, _, name = source.rpartition(":")
    if kind == "estimates":
        return f"models/{name}.csv", tuple(analysis.name for analysis in question(name).analyses)
    if kind == "results":
        return f"models/{QUESTION_OF[name].name}.csv", (name,)
    return SPINE.get(source, f"models/{source}.csv"), ()


def file_of(source: str) -> str:
    """The file of a table, within the output folder."""
    return where(source)[0]
