"""The units of an audit: whose sites count, what they are compared with, how alike a patient's sites are.

    p0    the standard where the plan says so, else the rate of all units
    ρ     correlation within a patient, over all units
    alert, alarm    tail areas 1 - Φ(sd), one side each

Source: the contract, section 5.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.special import ndtr

from liftseries.base.remarks import remark
from liftseries.estimators.clustered_count import correlation_of_patients
from liftseries.models.shared.gates import MANY_TERMS, RATIO
from liftseries.models.shared.levels import as_levels, levels_present
from liftseries.models.shared.outcomes import PERFORATION_UNKNOWN, known_perforation
from liftseries.models.shared.results import left_out_table

STANDARD = "standard"
COUNTS_ONLY, ONE_VIEW = RATIO, MANY_TERMS  # events below which only counts, or only the clustered funnel, are told


@dataclass(frozen=True)
class Audited:
    """The sites of an audit, and what its units are compared with.

    Attributes
    ----------
    by : the column whose levels are the units
    names : the units, in order; also those without a site
    table : shape (n, …), the sites of the period whose perforation and unit are known
    unit : shape (n,), which of `names`
    event : shape (n,), true/false
    centre : `series` or `standard`
    standard : None where there is none
    left : reason -> sites left out
    """

    by: str
    names: tuple[str, ...]
    table: pd.DataFrame
    unit: np.ndarray
    event: np.ndarray
    centre: str
    standard: float | None
    left: tuple[tuple[str, int], ...]

    @cached_property
    def patient(self) -> np.ndarray:
        """Whose site each is, shape (n,)."""
        return self.table["patient_id"].to_numpy()

    @property
    def n_events(self) -> int:
        """Sites perforated."""
        return int(self.event.sum())

    @property
    def rate(self) -> float:
        """The rate of all units; NaN without a site."""
        return float(self.event.mean()) if len(self.event) else np.nan

    @property
    def p0(self) -> float:
        """What the units are compared with; NaN where it cannot be told."""
        if self.centre != STANDARD:
            return self.rate
        return np.nan if self.standard is None else float(self.standard)

    @cached_property
    def correlation(self) -> float:
        """ρ within a patient."""
        return correlation_of_patients(self.event, self.patient)

    def why_not(self, fewest: int = COUNTS_ONLY) -> str:
        """Why the units are not judged, as a remark; "" where they are. `fewest` events of the series are needed."""
        if self.by not in self.table:
            return remark("column_absent")
        if not len(self.event):
            return remark("perforation_not_recorded")
        if self.n_events < fewest:
            return remark("below_gate_audit", n_events=self.n_events)
        if np.isnan(self.p0):
            return remark("no_standard")
        return remark("all_perforated") if not 0 < self.p0 < 1 else ""

    def subset(self, name: str) -> str:
        """A unit's rows of results.csv."""
        return f"{self.by}={name}"

    def members(self, number: int) -> np.ndarray:
        """The sites of a unit, shape (n,)."""
        return self.unit == number

    def counts(self, members: np.ndarray) -> dict[str, int]:
        """n_sites, n_patients and n_events of some sites."""
        return {
            "n_sites": int(members.sum()),
            "n_patients": len(pd.unique(self.patient[members])),
            "n_events": int(self.event[members].sum()),
        }

    def left_out(self, analysis: str) -> pd.DataFrame:
        """The sites left out, as rows of `Estimates.left_out`."""
        return left_out_table(analysis, "all", self.left)


def audited(
    cases: pd.DataFrame,
    by: str,
    period: Sequence[int] = (),
    centre: str = "series",
    standard: float | None = None,
    expected: Mapping[str, Mapping] | None = None,
) -> Audited:
    """The sites of an audit.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by : the column whose levels are the units
    period : surgery years; all where empty
    centre, standard : what the units are compared with
    expected : unit -> year -> cases that it should have sent; its units are units, even without a site
    """
    known, perforated = known_perforation(cases)
    inside = in_period(cases, period)
    column = cases[by] if by in cases else pd.Series(None, index=cases.index, dtype=object)
    levels = as_levels(column)
    labels = np.asarray(levels.astype(object))
    has_unit = levels.codes >= 0
    # A file may give the patient of a site twice; a row's place in the tables must not tell which draw it gets.
    names = unit_names(cases, by, expected)
    order = np.argsort(cases["site_id"].astype(str).to_numpy(), kind="stable")
    used = order[(known & inside & has_unit)[order]]
    number = {name: k for k, name in enumerate(names)}
    left = [
        (remark("outside_period"), int((~inside).sum())),
        (remark("label_unknown", column=by), int((inside & ~has_unit).sum())),
        (PERFORATION_UNKNOWN, int((inside & has_unit & ~known).sum())),
    ]
    return Audited(
        by=by,
        names=names,
        table=cases.iloc[used],
        unit=np.array([number[label] for label in labels[used]], int),
        event=perforated[used],
        centre=centre,
        standard=standard,
        left=tuple(left),
    )


def unit_names(cases: pd.DataFrame, by: str, expected: Mapping[str, Mapping] | None = None) -> tuple[str, ...]:
    """The units: the levels that occur in any year, in order, then those that should have sent cases and did not."""
    present = levels_present(as_levels(cases[by])) if by in cases else []
    return (*present, *(name for name in map(str, expected or {}) if name not in present))


def in_period(cases: pd.DataFrame, period: Sequence[int]) -> np.ndarray:
    """The sites operated on in the years given, all where none is; shape (n_sites,)."""
    if not len(period):
        return np.ones(len(cases), bool)
    if "surgery_year" not in cases:
        return np.zeros(len(cases), bool)
    return np.isin(cases["surgery_year"].to_numpy(float, na_value=np.nan), np.asarray(period, float))


def tail_area(sd: float) -> float:
    """1 - Φ(sd): the area beyond a limit, of one side."""
    return float(ndtr(-sd))


def stream(seed: int, analysis: str, unit: str) -> np.random.Generator:
    """A unit's random numbers, whatever other units there are: SHA-256 of `seed|analysis|unit`."""
    digest = hashlib.sha256(f"{seed}|{analysis}|{unit}".encode()).digest()
    return np.random.default_rng(int.from_bytes(digest, "big"))


def simulated(n_draws: int, error: float) -> str:
    """A remark on a simulated number: from how many draws, and its Monte Carlo error to two digits."""
    return remark("simulated", n_draws=n_draws, error=float(f"{float(error):.2g}"))
