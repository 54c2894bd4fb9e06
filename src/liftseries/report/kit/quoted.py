"""What stands beside a quoted row: the same question by other methods."""

from __future__ import annotations

import pandas as pd


def quoted_in(rows: pd.DataFrame) -> pd.DataFrame:
    """Those of the rows that the report quotes: the headlines that have an estimate."""
    return rows[rows["headline"].eq(True) & rows["estimate"].notna()] if len(rows) else rows


def beside(rows: pd.DataFrame, quoted: pd.Series) -> pd.DataFrame:
    """The rows that answer what a quoted row answers, it first; those without an estimate last."""
    same = rows[rows["subset"].eq(quoted["subset"]) & rows["term"].eq(quoted["term"])]
    rank = (~same["headline"].eq(True)).astype(int) + 2 * same["estimate"].isna()
    return same.iloc[rank.to_numpy().argsort(kind="stable")]  # rows of several tables share their labels
