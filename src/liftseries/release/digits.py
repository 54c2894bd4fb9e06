"""How many digits leave: those that a page prints, rounded once from the full number."""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.report.kit.tables.cells import PERCENT_SCALES, RATIO_SCALES

SHARE, PLAIN, LEAST_P = 3, 2, 0.01  # decimals of a share, of any other number; a smaller p is told as below it
LARGEST_LOG = 50.0  # of a ratio that can be written
SHARES = ("share", "survival")  # columns of tables that hold shares; of results.csv the scale says so
SUMMARIES = ("median", "q1", "q3")


def rounded(values: pd.Series, column: str, scale: pd.Series | None = None) -> pd.Series:
    """A column's numbers as they leave.

    Parameters
    ----------
    values : shape (n_rows,)
    column : its name
    scale : shape (n_rows,), of results.csv
    """
    if column == "p_value":
        return values.round(2).where(values >= LEAST_P, 0.0).clip(upper=0.99).where(values.notna())
    if column in SUMMARIES:
        return values.round(1)
    if scale is None:
        shares = column in SHARES or (column.startswith("conf_") and True)
        return _share(values) if shares else values.round(PLAIN)
    scale = scale.reset_index(drop=True)
    logs = scale.isin(RATIO_SCALES) & values.abs().lt(LARGEST_LOG)
    told = values.round(PLAIN).mask(scale.isin(PERCENT_SCALES), _share(values))
    return told.mask(logs, np.log(_ratio(np.exp(values.clip(-LARGEST_LOG, LARGEST_LOG)))))


def _share(values: pd.Series) -> pd.Series:
    """To one decimal of a per cent; never to none or all where it is neither."""
    told = values.round(SHARE)
    least = 0.4 * 10.0**-SHARE
    return told.mask((values > 0) & (told <= 0), least).mask((values < 1) & (told >= 1), 1 - least)


def _ratio(values: pd.Series) -> pd.Series:
    told = values.round(PLAIN).where(values < 100, values.round(0))
    return told.mask(told <= 0, 0.4 * 10.0**-PLAIN)
