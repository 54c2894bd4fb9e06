"""How many digits leave: those that a page prints, rounded once from the full number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.models.shared.gates import LARGE_DESIGN_EFFECT
from liftseries.report.kit.numbers import FEW_SITES
from liftseries.report.kit.tables.cells import PERCENT_SCALES, RATIO_SCALES

SHARE, PLAIN, LEAST_P = 3, 2, 0.01  # decimals of a share, of any other number; a smaller p is told as below it
HALF_SHARE, HALF_OF_FEW, HALF_OF_PLAIN = (0.5 * 10.0**-digits for digits in (SHARE, 2, PLAIN))
TIE = 1e-7  # within which a share lies midway between two multiples
NEAR = 1e-9
SHARE_OF_FEW = 2  # of a share of fewer than `FEW_SITES` sites: a whole per cent
LARGEST_LOG = 50.0  # of a ratio that can be written
SHARES = ("share", "survival")  # columns of tables that hold shares; of results.csv the scale says so
EFFECT = "ratio"  # the scale of a design effect
SUMMARIES = ("median", "q1", "q3")


@dataclass(frozen=True)
class Grid:
    """Numbers told roundly: a first one, and from there in steps of a unit. What lies midway is told as the higher.

    Attributes
    ----------
    unit : of a share, of months, or of a design effect
    first : below one unit
    """

    unit: float
    first: float = 0.0

    def told(self, value: float) -> float:
        """The number that a value is told as."""
        return float(round((np.floor((value - self.first) / self.unit + 0.5 + TIE)) * self.unit + self.first, SHARE))

    def between(self, low: float, high: float) -> np.ndarray:
        """Its numbers that values from low to high can be told as, rising."""
        steps = [np.floor((value - self.first) / self.unit + 0.5) for value in (low + NEAR, high + NEAR)]
        return np.round(np.arange(steps[0], steps[1] + 1) * self.unit + self.first, SHARE)


def rounded(
    values: pd.Series,
    column: str,
    scale: pd.Series | None = None,
    n_sites: np.ndarray | None = None,
    coarse: Sequence[Grid | None] = (),
) -> pd.Series:
    """A column's numbers as they leave.

    Parameters
    ----------
    values : shape (n_rows,)
    column : its name
    scale : shape (n_rows,), of results.csv
    n_sites : shape (n_rows,), how many sites a share is of; NaN where it is no share of sites counted
    coarse : of length n_rows, how each number is told roundly; None where as usual
    """
    if any(coarse):
        told = rounded(values, column, scale, n_sites)
        for at, grid in enumerate(coarse):
            if grid is not None:
                is_effect = scale is not None and scale.iloc[at] == EFFECT
                told.iloc[at] = effect_told(values.iloc[at]) if is_effect else grid.told(values.iloc[at])
        return told
    if column == "p_value":
        return values.round(2).where(values >= LEAST_P, 0.0).clip(upper=0.99).where(values.notna())
    if column in SUMMARIES:
        return values.round(1)
    if scale is None:
        shares = column in SHARES or column.startswith("conf_")
        return _share(values, n_sites) if shares else values.round(PLAIN)
    scale = scale.reset_index(drop=True)
    logs = scale.isin(RATIO_SCALES) & values.abs().lt(LARGEST_LOG)
    told = values.round(PLAIN).mask(scale.isin(PERCENT_SCALES), _share(values, n_sites))
    return told.mask(logs, np.log(_ratio(np.exp(values.clip(-LARGEST_LOG, LARGEST_LOG)))))


def _share(values: pd.Series, n_sites: np.ndarray | None = None) -> pd.Series:
    """To one decimal of a per cent, of few sites to none; never to none or all where it is neither."""
    told = values.round(SHARE)
    least = 0.4 * 10.0**-SHARE
    told = told.mask((values > 0) & (told <= 0), least).mask((values < 1) & (told >= 1), 1 - least)
    if n_sites is None:
        return told
    whole = values.round(SHARE_OF_FEW)
    return told.mask((n_sites < FEW_SITES) & whole.gt(0) & whole.lt(1), whole)


def _ratio(values: pd.Series) -> pd.Series:
    told = values.round(PLAIN).where(values < 100, values.round(0))
    return told.mask(told <= 0, 0.4 * 10.0**-PLAIN)


def effect_told(value: float) -> float:
    """A design effect told roundly: 1, or 2."""
    return 2.0 if value >= LARGE_DESIGN_EFFECT else 1.0


def half_of_share(told: float, of_few: bool) -> float:
    """How far a printed share may be from the full one; what would be none or all is told to a decimal more."""
    return HALF_OF_FEW if of_few and 0 < told < 1 and round(told, SHARE_OF_FEW) == told else HALF_SHARE
