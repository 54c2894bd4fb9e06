"""How a row of results.csv was made: by its method's code and its remarks' names, in words as the analyses declare."""

from __future__ import annotations

import pandas as pd

from liftseries.base.remarks import NOTHING_RECORDED, names_in, remarks_in
from liftseries.models.questions import ANALYSES
from liftseries.report.kit.numbers import missing


def made_by(rows: pd.DataFrame, method: str) -> pd.Series:
    """Whether each row was made by that method; any where it is empty."""
    return rows["method"].eq(method) if method else pd.Series(True, index=rows.index)


def remarked(row, name: str) -> bool:
    """Whether the note of a row holds that remark."""
    return not missing(row["note"]) and name in names_in(row["note"])


def not_recorded(rows: pd.DataFrame) -> pd.Series:
    """Whether each row has no estimate for nothing but that nobody recorded what it asks for: nothing to print."""
    return rows["problem"].fillna("").isin(NOTHING_RECORDED)


def way_of(row) -> str:
    """How a row was made, in words."""
    analysis = ANALYSES.get(row["analysis"])
    code = "" if missing(row["method"]) else str(row["method"])
    return analysis.methods.get(code, code) if analysis else code


def named_method(row) -> str:
    """The method where a row's place cannot be told without it, as an analysis has several."""
    code = "" if missing(row["method"]) else str(row["method"])
    analysis = ANALYSES.get(row["analysis"])
    return code if analysis is not None and len(analysis.methods) > 1 else ""


def reference_in(note: str, column: str) -> str:
    """The level that a column's levels are compared with, where a remark of the row names it."""
    for one in remarks_in(note):
        if one.name in ("reference_absent", "reference") and one.holes["column"] == column:
            return one.holes["level" if one.name == "reference_absent" else "reference"]
    return ""


def methods_of(rows: pd.DataFrame) -> str:
    """The methods of these rows and what their notes say; the problems of those that have an estimate all the same."""
    methods = [way for way in dict.fromkeys(way_of(row) for _, row in rows.iterrows()) if way]
    told = [f"Method: {' / '.join(methods)}."] if methods else []
    remarks = [str(one) for note in dict.fromkeys(rows["note"]) for one in remarks_in(note)]
    remarks += [problem for problem in rows.loc[rows["estimate"].notna(), "problem"] if not missing(problem)]
    return " ".join([*told, *(f"Note: {text}." for text in dict.fromkeys(remarks) if text)])
