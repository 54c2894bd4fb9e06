"""How many replicates the rows of results.csv say were drawn, which may be fewer than the plan asks for."""

from __future__ import annotations

import pandas as pd

from liftseries.base.remarks import remarks_in

HOLES = {"resamples": "n_resamples", "imputations": "n_sets"}  # remark -> its count


def n_told(rows: pd.DataFrame, name: str, asked: int) -> int:
    """The most that the notes of some rows tell of.

    Parameters
    ----------
    rows : of results.csv
    name : of the remark that counts them, in `HOLES`
    asked : of the plan, where no row tells
    """
    remarks = [one for note in rows["note"].dropna() for one in remarks_in(str(note)) if one.name == name]
    return max((int(one.holes[HOLES[name]]) for one in remarks), default=asked)
