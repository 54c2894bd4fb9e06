"""Who counts for an indicator: at each site counted, unknown, not applicable or not yet due, and what it counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.models.audit.site_table import Recorded, holds, known
from liftseries.models.shared.levels import is_missing
from liftseries.study.indicators import Indicator

COUNTED, UNKNOWN, NOT_APPLICABLE, NOT_DUE = "counted", "unknown", "not_applicable", "not_due"
STATES = (COUNTED, UNKNOWN, NOT_APPLICABLE, NOT_DUE)


@dataclass(frozen=True)
class Counting:
    """What an indicator makes of the sites of a series.

    Attributes
    ----------
    state : shape (n_rows,), one of STATES
    event : shape (n_rows,), true/false, the numerator
    value : shape (n_rows,), of a mean; else NaN
    site : shape (n_rows,), the site that each row is of; several of one where cells are counted
    """

    state: np.ndarray
    event: np.ndarray
    value: np.ndarray
    site: np.ndarray


def counting(indicator: Indicator, month: float | None, recorded: Recorded) -> Counting:
    """The state and numerator of each site, or cell.

    Parameters
    ----------
    indicator : of sites, patients, measurements or cells
    month : None where it is about no month
    recorded
    """
    table = recorded.table(12.0 if month is None else month)
    due = np.ones(len(table), bool) if month is None else recorded.due(month)
    if indicator.counts == "cells":
        return _cells(indicator, table)
    about = known([indicator.denominator], table)
    applies = holds(indicator.denominator, table) & ~(bool(indicator.exclude) & holds(indicator.exclude, table))
    if indicator.counts == "measurements":
        value = pd.to_numeric(table.get(indicator.value), errors="coerce").to_numpy(float)
        told = np.isfinite(value)
        event = np.zeros(len(table), bool)
    else:
        value = np.full(len(table), np.nan)
        told, event = known([indicator.numerator], table), holds(indicator.numerator, table)
    waits = ~due & (indicator.only_due | ~told)
    state = np.select([about & ~applies, waits, ~(about & told)], [NOT_APPLICABLE, NOT_DUE, UNKNOWN], COUNTED)
    return Counting(state, event, value, np.arange(len(table)))


def _cells(indicator: Indicator, table: pd.DataFrame) -> Counting:
    """A row a cell; a column that the whole series lacks is to be filled nowhere."""
    states, events = [], []
    for column, applies in indicator.cells.items():
        empty = is_missing(table[column]) if column in table else np.ones(len(table), bool)
        to_fill = holds(applies, table) & (not empty.all())
        states.append(np.where(to_fill, COUNTED, NOT_APPLICABLE))
        events.append(~empty)
    n = len(indicator.cells)
    where = np.tile(np.arange(len(table)), n)
    return Counting(np.concatenate(states), np.concatenate(events), np.full(len(where), np.nan), where)


def by_patient(found: Counting, patient: np.ndarray, members: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """State and numerator of each patient with one of these sites, and who it is; shape (n_patients,) each.

    A patient counts with any site that does, and has the event where any of those sites has it; one of whom no site
    counts is unknown where a site is, else not yet due where one is not, else not applicable.
    """
    rank = np.array([0, 1, 3, 2])[[STATES.index(one) for one in found.state[members]]]
    codes, names = pd.factorize(patient[members])
    best = np.full(len(names), 3)
    np.minimum.at(best, codes, rank)
    event = np.bincount(codes, (found.event[members] & (rank == 0)), len(names)) > 0
    return np.array([COUNTED, UNKNOWN, NOT_DUE, NOT_APPLICABLE], object)[best], event, np.asarray(names)
