"""What each column can be coarsened to, from fine to coarse; every ladder ends with the column left out.

Each rung is a function of the rung below it, so that classes only ever merge on the way up. Bands begin at round
numbers and not at the study's own extremes, so that two releases of a growing study agree.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Rung:
    """One step up: what the column then holds, in words, and how it comes to hold it; missing stays missing."""

    holds: str
    of: Callable[[pd.Series], pd.Series]


def bands(width: int) -> Callable[[pd.Series], pd.Series]:
    """Whole numbers as `50 to 54`, from multiples of the width on."""

    def band(column: pd.Series) -> pd.Series:
        lows = column // width * width
        return lows.map(lambda low: f"{int(low)} to {int(low) + width - 1}", na_action="ignore").astype(object)

    return band


def _with_side(tooth: pd.Series) -> pd.Series:
    sides = {1: "right", 2: "left"}
    side = tooth.map(lambda number: sides[int(number) // 10], na_action="ignore").astype(object)
    return side + " " + _kind(tooth)


def _kind(tooth: pd.Series) -> pd.Series:
    """Second digit of the tooth's number: 4 and 5 premolars, 6 to 8 molars (FDI notation, ISO 3950)."""
    kind = tooth.map(lambda number: "premolar" if int(number) % 10 < 6 else "molar", na_action="ignore")
    return kind.astype(object)


def _ever(smoking: pd.Series) -> pd.Series:
    return smoking.astype(object).replace({"former": "ever", "current": "ever"})


def _nothing(column: pd.Series) -> pd.Series:
    return pd.Series(None, index=column.index, dtype=object)


LEFT_OUT = Rung("left out", _nothing)
LADDERS: dict[str, tuple[Rung, ...]] = {
    "age_years": (Rung("5-year bands", bands(5)), Rung("10-year bands", bands(10)), Rung("20-year bands", bands(20))),
    "smoking": (Rung("never or ever", _ever),),
    "surgery_year": (Rung("2-year periods", bands(2)), Rung("4-year periods", bands(4))),
    "tooth": (Rung("premolar or molar, and side", _with_side), Rung("premolar or molar", _kind)),
}


def ladder(column: str) -> tuple[Rung, ...]:
    """The rungs above the column as it is; one without a ladder of its own can only be left out."""
    return (*LADDERS.get(column, ()), LEFT_OUT)
