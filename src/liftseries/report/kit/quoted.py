"""What stands beside a quoted row: the same question by other methods."""

from __future__ import annotations

import pandas as pd

from liftseries.base.remarks import WITHHELD, WITHHELD_COUNT, remarks_in
from liftseries.models.shared.gates import terms_allowed
from liftseries.models.shared.penalised import FIRST_TERMS


def quoted_in(rows: pd.DataFrame) -> pd.DataFrame:
    """Those of the rows that the report quotes: the headlines that have an estimate."""
    return rows[rows["headline"].eq(True) & rows["estimate"].notna()] if len(rows) else rows


def printable(rows: pd.DataFrame) -> pd.DataFrame:
    """Those that have an estimate, and beside them those withheld; none where nothing would be left to tell."""
    has = rows["estimate"].notna()
    return rows[has | rows["problem"].eq(WITHHELD)] if has.any() else rows.iloc[:0]


def beside(rows: pd.DataFrame, quoted: pd.Series) -> pd.DataFrame:
    """The rows that answer what a quoted row answers, it first; those without an estimate last.

    Models with more terms than their events carry are left out: results.csv keeps them.
    """
    same = rows[rows["subset"].eq(quoted["subset"]) & rows["term"].eq(quoted["term"])]
    if quoted["method"] == FIRST_TERMS:  # the others are of the whole model
        same = same[same["method"].eq(FIRST_TERMS)]
    same = same[~below_gate(same)]
    rank = (~same["headline"].eq(True)).astype(int) + 2 * same["estimate"].isna()
    return same.iloc[rank.to_numpy().argsort(kind="stable")]  # rows of several tables share their labels


def below_gate(rows: pd.DataFrame) -> pd.Series:
    """Which rows have too little behind them: results.csv keeps them, nothing prints them."""
    return pd.Series([beyond_gate(note) for note in rows["note"]], index=rows.index, dtype=bool)


def beyond_gate(note: str) -> bool:
    """Whether a row's note says that too little stands behind it, or too few events for the terms of its model."""
    for one in remarks_in(note):
        if one.name.startswith("below_gate"):
            return True
        n_events = one.holes.get("n_events", WITHHELD_COUNT)
        if one.name == "few_events" and n_events != WITHHELD_COUNT and one.holes["n_terms"] > terms_allowed(n_events):
            return True
    return False
