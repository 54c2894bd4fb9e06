"""What a row's `method` tells, asked here alone: it is English prose as yet, which nothing else should take apart."""

from __future__ import annotations

import pandas as pd

from liftseries.report.kit.words import ONE_SIDED


def made_by(rows: pd.DataFrame, way: str) -> pd.Series:
    """Whether each row was made in that way: `profile`, `jackknife`, `optimism-corrected`; any where it is empty."""
    return rows["method"].str.startswith(way)


def one_sided(rows: pd.DataFrame) -> pd.Series:
    """Whether each row is a bound of one side."""
    return made_by(rows, ONE_SIDED)


def clustered(rows: pd.DataFrame) -> pd.Series:
    """Whether each row takes implants or sites as clustered in patients."""
    return rows["method"].str.contains("clustered")


def points_to(rows: pd.DataFrame, analysis: str) -> bool:
    """Whether any row says that another analysis is to be read instead."""
    return bool(rows["method"].str.contains(f"read {analysis}", regex=False).any())


def bound_on(row) -> str:
    """What a bound of one side counts, `patients` or `sites`; empty for any other row."""
    return {f"{ONE_SIDED}_{unit}": unit for unit in ("patients", "sites")}.get(str(row["method"]), "")


def way_of(row) -> str:
    """How a row was made, without its notes."""
    return row["method"].partition(";")[0]


def case_of(row) -> str:
    """`best case`, `worst case` of the implants lost."""
    return row["method"].partition(":")[0]
