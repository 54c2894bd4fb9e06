"""Tidy estimates: the rows of results.csv, and how an interval and a p-value come from a standard error.

`method` is a code that never depends on the data; what depends on them stands in `note`. What cannot be estimated is a
row with an empty estimate and its `problem`; an estimator that has to give up raises `NotFitted` with it, and the
question that asked turns it into rows. Notes and problems are remarks, see `base.remarks`. Opens no file.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import CONF_LEVEL, critical_value, two_sided_p
from liftseries.models.shared.fitted import FittedModel
from liftseries.models.shared.gates import LOW_DESIGN_EFFECT

NO_STD_ERROR = 1e-10  # a standard error this small is rounding about zero
EVENTS_A_TERM = 10

NUMBERS = ("estimate", "std_error", "conf_low", "conf_high", "conf_level", "p_value", "df")
COUNTS = ("n_sites", "n_patients", "n_events")
KEY = ("analysis", "subset", "term", "method")
RESULT_COLUMNS = (
    *KEY,
    "headline",
    "estimate",
    "std_error",
    "conf_low",
    "conf_high",
    "conf_level",
    "p_value",
    "df",
    "scale",
    "n_sites",
    "n_patients",
    "n_events",
    "note",
    "problem",
)
ZERO_STD_ERROR = remark("zero_std_error")
LEFT_OUT_COLUMNS = ("analysis", "subset", "reason", "n_sites")
DESIGN_EFFECT = "clustering.design_effect"


@dataclass(frozen=True)
class Estimates:
    """What a question gives back.

    Attributes
    ----------
    rows : columns RESULT_COLUMNS, one row an estimate
        Counts are nullable integers, empty numbers NaN, empty texts "".
    left_out : columns LEFT_OUT_COLUMNS
        How many sites a fit left out and why; a site counts once, under its first reason.
    design_effects : columns RESULT_COLUMNS
        For each clustered row of `rows`, its variance over that of independent sites; see
        `Fit.design_effect_row`.
    fitted : the models behind the rows, for whoever refits them
    """

    rows: pd.DataFrame
    left_out: pd.DataFrame
    design_effects: pd.DataFrame = field(default_factory=lambda: results_table([]), kw_only=True)
    fitted: tuple[FittedModel, ...] = field(default=(), kw_only=True)


@dataclass(frozen=True)
class Fit:
    """What the rows of one fit share: where it stands, how it was made, and on how many it rests.

    `method` is a code, one of those that the analysis declares; `note` what a reader of these rows must know.
    """

    analysis: str
    subset: str
    scale: str
    method: str
    n_sites: int
    n_patients: int
    n_events: int | None = None
    df: float | None = None
    note: str = ""

    def row(self, term: str, estimate=np.nan, std_error=np.nan, problem: str = "", **columns) -> dict:
        """One row of results.csv; `columns` fills or replaces what else stands in it."""
        return {
            "analysis": self.analysis,
            "subset": self.subset,
            "term": term,
            "method": self.method,
            "headline": False,
            "estimate": estimate,
            "std_error": std_error,
            "df": self.df,
            "scale": self.scale,
            "n_sites": self.n_sites,
            "n_patients": self.n_patients,
            "n_events": self.n_events,
            "note": self.note,
            "problem": problem,
        } | columns

    def wald_row(self, term: str, estimate: float, std_error: float, problem: str = "", p_value: bool = True):
        """An estimate with its symmetric interval: by t where the fit has degrees of freedom, else normal.

        Patients who cancel each other out leave a standard error of zero; such a row has a problem instead.
        """
        if not std_error > NO_STD_ERROR:
            return self.row(term, problem=ZERO_STD_ERROR)
        half = critical_value(self.df) * std_error
        interval = {"conf_low": estimate - half, "conf_high": estimate + half, "conf_level": CONF_LEVEL}
        if p_value:
            interval["p_value"] = two_sided_p(estimate / std_error, self.df)
        return self.row(term, estimate, std_error, problem, **interval)

    def design_effect_row(self, term: str, std_error: float, naive_std_error: float) -> dict:
        """How many times the variance is that of independent sites: how much the clustering costs a term.

        It has the method of the row that it belongs to. Below one half it says rather that patients with the event are
        too few to see how alike their sites are; its note warns of it.

        Source: Kish 1965, Survey Sampling, section 8.2 (from memory).
        """
        effect = (std_error / naive_std_error) ** 2
        note = remark("narrow_by_clustering") if effect < LOW_DESIGN_EFFECT else ""
        term = f"{self.analysis} {term}"
        return self.row(term, effect, analysis=DESIGN_EFFECT, scale="ratio", df=None, note=note)

    def design_effect_rows(self, terms, std_error, naive_std_error) -> list[dict]:
        """A design effect for every term whose standard error is not zero."""
        found = zip(terms, std_error, naive_std_error, strict=True)
        return [self.design_effect_row(term, se, alone) for term, se, alone in found if se > NO_STD_ERROR]


def warned(rows: Iterable[dict], effects: Iterable[dict]) -> list[dict]:
    """Rows, those with a standard error whose design effect is an alarm with a remark in their note.

    `effects` are design effects, as `Fit.design_effect_row` gives them.
    """
    alarms = {(effect["subset"], effect["term"]) for effect in effects if effect["note"]}
    narrow = remark("narrow_by_clustering")
    return [
        row | {"note": joined(row["note"], narrow)}
        if np.isfinite(row["std_error"]) and (row["subset"], f"{row['analysis']} {row['term']}") in alarms
        else row
        for row in rows
    ]


def few_events(n_events: int, n_terms: int) -> bool:
    """Whether a model of events rests on fewer than ten for each of its terms.

    A sandwich gathers its variance from the patients with an event; in simulated series with so few of them its
    intervals are too short (tests/benchmarks/coverage.py), while the penalised jackknife holds. Ten: Peduzzi and others
    1996, doi:10.1016/S0895-4356(96)00236-3.
    """
    return n_events < EVENTS_A_TERM * max(n_terms, 1)


def few_events_note(n_events: int, n_terms: int, penalised: str = "") -> list[str]:
    """Remarks where events are few: that they are, and the analysis whose jackknife to read if there is one."""
    if not few_events(n_events, n_terms):
        return []
    instead = [remark("read_instead", analysis=penalised, method="jackknife")] if penalised else []
    return [remark("few_events", n_events=n_events, n_terms=n_terms), *instead]


def results_table(rows: Iterable[dict]) -> pd.DataFrame:
    """Rows as a table with the columns of results.csv, in the contract's order and types."""
    types = dict.fromkeys(NUMBERS, float) | dict.fromkeys(COUNTS, "Int64") | {"headline": bool}
    return _table(list(rows), RESULT_COLUMNS, types)


def left_out_table(analysis: str, subset: str, reasons: Sequence[tuple[str, int]]) -> pd.DataFrame:
    """How many sites were left out and why, reasons with no site skipped."""
    rows = [(analysis, subset, reason, int(n_sites)) for reason, n_sites in reasons if n_sites]
    return _table([dict(zip(LEFT_OUT_COLUMNS, row, strict=True)) for row in rows], LEFT_OUT_COLUMNS, {"n_sites": int})


def _table(rows: list[dict], columns: Sequence[str], types: dict) -> pd.DataFrame:
    """Column by column, each at once of its type: a run makes thousands of such tables."""
    found = {name: [row.get(name, np.nan) for row in rows] for name in columns}
    return pd.DataFrame({name: pd.array(values, dtype=types.get(name, object)) for name, values in found.items()})
