"""Rows that describe what was recorded: shares of sites, and statistics of a measurement, patients as clusters.

A share is of the sites given; a measurement has its number, mean, quartiles (R's type 7) and, where asked for, its
largest value. Where nothing was recorded every row says so and the report prints nothing.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.mean import mean_of_patients
from liftseries.models.shared.gates import FEWEST_MEASUREMENTS
from liftseries.models.shared.results import Fit
from liftseries.models.shared.share_rows import share_row as patients_share_row
from liftseries.study.schema import UNKNOWN, columns_by_name

METHOD = "patients"
NOT_RECORDED = remark("not_recorded")
COUNT = "count"  # the scale of a number of measurements
QUARTILES = {"median": 0.5, "q1": 0.25, "q3": 0.75}
STATISTICS = ("n", "mean", *QUARTILES)


def levels_of(column: str) -> list[str]:
    """The levels that a column may have, in their order; `unknown` is none."""
    return [str(level) for level in columns_by_name()[column].levels if str(level) != UNKNOWN]


def labels(table: pd.DataFrame, column: str) -> np.ndarray:
    """Each row's level, "" where it is not known; shape (n,). Nothing is known where there is no such column."""
    if column not in table:
        return np.full(len(table), "", object)
    values = table[column].astype(object)
    known = values.notna() & ~values.eq(UNKNOWN)
    return np.where(known, values.astype(str), "").astype(object)


def numbers(table: pd.DataFrame, column: str) -> np.ndarray:
    """Each row's number, NaN where it is not known; shape (n,)."""
    if column not in table:
        return np.full(len(table), np.nan)
    return table[column].to_numpy(float, na_value=np.nan)


def share_row(
    place: tuple[str, str, str], event: np.ndarray, patient: np.ndarray, *, note: str = "", problem: str = ""
) -> dict:
    """The share of sites with an event.

    Parameters
    ----------
    place : analysis, subset and term
    event, patient : shape (n,), of the sites that it is a share of
    note : what else a reader must know
    problem : why there is none, where that is known already
    """
    analysis, subset, term = place
    event = np.asarray(event, bool)
    counts = {"n_sites": len(event), "n_patients": len(pd.unique(patient)), "n_events": int(event.sum())}
    fit = Fit(analysis, subset, "risk", METHOD, **counts, note=note)
    if problem:
        return fit.row(term, problem=problem)
    return patients_share_row(fit, term, event, patient)[0]


def share_rows(
    analysis: str, terms: Sequence[str], level: np.ndarray, patient: np.ndarray, none: str, subset: str = "all"
) -> list[dict]:
    """The share of each level among the sites given, those not known as the level `unknown`.

    Parameters
    ----------
    terms : the levels, in order
    level : shape (n,), "" where it is not known
    patient : shape (n,)
    none : why there is no share where there is no site
    """
    problem = none if not len(level) else "" if (level != "").any() else NOT_RECORDED
    if problem:
        return [share_row((analysis, subset, term), level[:0] == term, patient[:0], problem=problem) for term in terms]
    unknown = [UNKNOWN] if (level == "").any() else []
    level = np.where(level == "", UNKNOWN, level)
    return [share_row((analysis, subset, term), level == term, patient) for term in (*terms, *unknown)]


def statistic_rows(
    place: tuple[str, str, str], values: np.ndarray, patient: np.ndarray, scale: str, *, largest: bool = False
) -> list[dict]:
    """Number, mean, median and quartiles of a measurement, and its largest value where asked for.

    Below `FEWEST_MEASUREMENTS` all but the number are no headline.

    Parameters
    ----------
    place : analysis, subset and what stands before each statistic in the term ("" or a column and a blank)
    values : shape (n,), NaN where not measured
    patient : shape (n,)
    scale : the unit
    """
    analysis, subset, before = place
    known = np.isfinite(values)
    values, patient = values[known], np.asarray(patient)[known]
    n = len(values)
    fit = Fit(analysis, subset, scale, METHOD, n, len(pd.unique(patient)))
    terms = [before + name for name in (*STATISTICS, *(["max"] if largest else []))]
    if n == 0:
        return [fit.row(term, problem=NOT_RECORDED) | ({"scale": COUNT} if term == terms[0] else {}) for term in terms]
    few = remark("below_gate_measurements", n_measurements=n) if n < FEWEST_MEASUREMENTS else ""
    quoted = {"note": few, "headline": not few}
    rows = [fit.row(terms[0], float(n), scale=COUNT, headline=True), _mean_row(fit, terms[1], values, patient, few)]
    for term, share in zip(terms[2:], (*QUARTILES.values(), 1.0), strict=False):
        rows.append(fit.row(term, float(np.quantile(values, share)), **quoted))
    return rows


def _mean_row(fit: Fit, term: str, values: np.ndarray, patient: np.ndarray, few: str) -> dict:
    try:
        mean, std_error, df = mean_of_patients(values, patient)
    except NotFitted as why:
        return fit.row(term, problem=str(why))
    t = Fit(fit.analysis, fit.subset, fit.scale, METHOD, fit.n_sites, fit.n_patients, df=df, note=few)
    row = t.wald_row(term, mean, std_error, p_value=False)
    return row | {"headline": not few and not row["problem"]}
