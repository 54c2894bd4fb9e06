"""Operators' running counts: a number twice, numbers that do not rise with the years of surgery."""

from __future__ import annotations

from bisect import bisect_right

import numpy as np
import pandas as pd

from liftseries.intake.oddities.joined import Joined, rows_told

COUNT = ["operator", "surgery_year", "operator_case_no"]


def case_number_twice(joined: Joined) -> pd.DataFrame:
    """Both sites."""
    known = joined.sites.dropna(subset=["operator", "operator_case_no"])
    return rows_told(known.index[known.duplicated(["operator", "operator_case_no"], keep=False)])


def case_numbers_out_of_order(joined: Joined) -> pd.DataFrame:
    """The sites outside the longest run; a number that stands twice in a year is in it twice."""
    known = joined.sites.dropna(subset=COUNT).sort_values([*COUNT, "site_id"], kind="stable")
    outside = [
        group.index[~longest_rising(group["operator_case_no"].to_numpy(float))]
        for _, group in known.groupby("operator", sort=False)
    ]
    return rows_told(np.concatenate(outside) if outside else ())


def longest_rising(numbers: np.ndarray) -> np.ndarray:
    """Which numbers are in the longest run that does not fall, others left out; shape (n,).

    Of several as long, the one that ends lowest. By patience sorting, n log n steps.
    """
    ends: list[float] = []  # the lowest end of a run of each length
    at: list[int] = []  # where it stands
    before = np.full(len(numbers), -1)
    for index, number in enumerate(numbers):
        length = bisect_right(ends, number)
        before[index] = at[length - 1] if length else -1
        ends[length : length + 1], at[length : length + 1] = [number], [index]
    inside, index = np.zeros(len(numbers), dtype=bool), at[-1] if at else -1
    while index >= 0:
        inside[index], index = True, before[index]
    return inside
