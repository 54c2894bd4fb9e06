"""Lengths ten times too large or too small for their column: centimetres typed for millimetres, a lost decimal mark.

They are told, never changed: a small number may be a small bone.
"""

from __future__ import annotations

import numpy as np

from liftseries.base.numbers import plain
from liftseries.intake.draft.draft import Draft
from liftseries.study.schema import Column

FEWEST = 8  # known lengths of a column; below, nothing is told
TOO_FAR = 3.5  # modified z of an outlier. Source: Iglewicz and Hoaglin, How to Detect and Handle Outliers, 1993
NEAR = 2.0  # modified z that the number must have once it is ten times as large or small; our choice
SMALLEST_SPREAD = 0.05  # of the decimal logarithm, some 12 %: a column of equal lengths has no outlier; our choice
RULE = "tenfold_length_is_told"
TO_NORMAL = 1.4826  # median absolute deviation to standard deviation of a normal distribution


def propose_tenfold(draft: Draft) -> None:
    """Adds a decision for each length that is one of its column's only after a step of the decimal mark."""
    for name, column in draft.table.columns.items():
        # A column that may hold 0 has small numbers of its own, and tells nothing on a logarithm.
        if column.type == "number" and column.unit == "mm" and _is_above_zero(column):
            values = draft.frame[name].where(draft.sound[name]).to_numpy(float)
            for index, factor in zip(*tenfold(values), strict=True):
                shown, meant = plain(values[index]), plain(float(f"{values[index] * factor:.6g}"))
                stood = f"a number far {'below' if factor > 1 else 'above'} the others of its column"
                why = "it was typed in cm" if factor > 1 else "a decimal mark is missing"
                taken_for = f"{shown} mm as it stands; to be looked up, as it would be {meant} mm if {why}"
                draft.decide(index, name, stood, taken_for, RULE)


def _is_above_zero(column: Column) -> bool:
    above, at_least = column.above, column.at_least
    return (above is not None and above >= 0) or (at_least is not None and at_least > 0)


def tenfold(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Which lengths are a tenth or the tenfold of what their column holds.

    On decimal logarithms, with median m and s = 1.4826 times the median absolute deviation from it, at least 0.05: a
    length is told where |log x - m| > 3.5 s and ten times it, or a tenth of it, lies within 2 s of m.

    Parameters
    ----------
    values : shape (n,), NaN where unknown
        Those that are not positive are passed over.

    Returns
    -------
    indices, factors : shape (n_told,)
        10 where the length is a tenth of the others, 0.1 where it is the tenfold.
    """
    known = np.flatnonzero(values > 0)
    if len(known) < FEWEST:
        return np.zeros(0, dtype=int), np.zeros(0)
    logs = np.log10(values[known])
    middle = np.median(logs)
    spread = max(TO_NORMAL * np.median(np.abs(logs - middle)), SMALLEST_SPREAD)
    away = (logs - middle) / spread
    steps = -np.sign(away)  # of the decimal mark, towards the middle
    told = (np.abs(away) > TOO_FAR) & (np.abs(away + steps / spread) <= NEAR)
    return known[told], np.where(steps[told] > 0, 10.0, 0.1)
