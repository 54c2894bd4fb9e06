"""What follow-up was due: how far that of each implant could have reached when the data were closed, and who was lost.

Surgery is known by its year only, so each rule takes the date that accuses nobody:

    closed     `study.data_until`, to its last day; without it the latest month that the tables imply: of all visits the
               latest 1 January of the year of surgery + months, a date on which data were still gathered for certain
    reachable  from 31 December of the year of surgery to the day of closing
    due at t   reachable ≥ t + 3, when the last visit that counts for t could have been; else *not yet due*, no loss
    lost at t  due, neither failed nor died before, and not seen in function from 3 months before t on

A visit up to 3 months before or after a planned month is the visit of that month. An implant placed at a second
operation is taken to have been placed within a year of the first.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.models.shared.follow_up import EXAMINED

WINDOW_MONTHS = 3.0  # a planned visit may be so much early or late
STAGED_MONTHS = 12.0  # from the lift to the placement at a second operation; the tables do not say, our convention
YEAR = 12
HAIR = 1e-9  # 11.999… months that were worked out from dates are 12


def closing_month(data_until: str, cases: pd.DataFrame, visits: pd.DataFrame) -> float:
    """The month in which the data were closed, counted from January of the year 0.

    Parameters
    ----------
    data_until : "2025-06", or "" for the latest month that the tables imply
    cases : one row a site, `site_id, surgery_year`
    visits : `site_id, months`

    Returns
    -------
    NaN where nothing tells.
    """
    if data_until:
        year, month = data_until.split("-")
        return float(YEAR * int(year) + int(month) - 1)
    january = YEAR * _surgery_year(cases)
    months = visits["site_id"].astype(object).map(dict(zip(cases["site_id"].astype(object), january, strict=True)))
    seen = np.floor(months.astype(float) + visits["months"].astype(float) + HAIR).to_numpy()
    known = np.r_[january, seen]
    known = known[np.isfinite(known)]
    return float(known.max()) if len(known) else np.nan


def month_in_words(month: float) -> str:
    """`2025-06` of a month counted from January of the year 0; "" where it is NaN."""
    return "" if np.isnan(month) else f"{int(month) // YEAR}-{int(month) % YEAR + 1:02d}"


def reachable_months(cases: pd.DataFrame, closed: float) -> np.ndarray:
    """Months that each implant's follow-up has reached even if it was placed on the last day that its year allows.

    Parameters
    ----------
    cases : `surgery_year` and, where it is recorded, `placement`
    closed : as `closing_month` gives it

    Returns
    -------
    shape (n_sites,), months
        Below 0 where even placement may lie after the closing; NaN where the year is not known.
    """
    placed_by = YEAR * (_surgery_year(cases) + 1)  # the first day of the next year
    if "placement" in cases:
        staged = cases["placement"].astype(object).eq("staged").to_numpy(bool)
        placed_by = placed_by + np.where(staged, STAGED_MONTHS, 0.0)
    return closed + 1 - placed_by


def due_at(month: float, reachable) -> np.ndarray:
    """Of which implants a month was due when the data were closed; `reachable` as `reachable_months` gives it."""
    return np.asarray(reachable) >= month + WINDOW_MONTHS


def lost_before(month: float, time, failed, died, reachable) -> np.ndarray:
    """Which implants were lost to follow-up before a month, their patients alive and the month due.

    Parameters
    ----------
    month
    time, failed, died : shape (n,), as `follow_up` gives them; an implant without follow-up (NaN) is not lost to it
    reachable : shape (n,), as `reachable_months` gives it
    """
    return due_at(month, reachable) & ~failed & ~died & (np.asarray(time) < month - WINDOW_MONTHS - HAIR)


def seen_at(month: float, cases: pd.DataFrame, visits: pd.DataFrame) -> np.ndarray:
    """Of which sites it is known how they fared at a planned month, shape (n_sites,).

    They were examined within 3 months of it, or had failed or their patient had died by then.
    """
    away = visits["months"].astype(float) - month
    status = visits["status"].astype(object)
    near = status.isin(EXAMINED) & (away.abs() <= WINDOW_MONTHS + HAIR)
    ended = status.isin(EXAMINED[1:]) & (away <= WINDOW_MONTHS + HAIR)
    told = visits.loc[near | ended, "site_id"].astype(object)
    return cases["site_id"].astype(object).isin(set(told)).to_numpy(bool)


def _surgery_year(cases: pd.DataFrame) -> np.ndarray:
    if "surgery_year" not in cases:
        return np.full(len(cases), np.nan)
    return cases["surgery_year"].to_numpy(float, na_value=np.nan)
