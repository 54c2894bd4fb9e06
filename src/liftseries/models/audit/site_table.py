"""One row a site with what indicators and the listing of cases read, beside its own columns.

The columns worked out here are those under `columns` of schemas/indicators.yaml. Expressions hold where all that they
read is known; see `study.expressions`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from liftseries.geometry.deviations import DEVIATIONS
from liftseries.models.gain.recalls import nearest_visits
from liftseries.models.shared.due import HAIR, WINDOW_MONTHS, YEAR, closing_month, seen_at
from liftseries.models.shared.follow_up import EXAMINED, with_implant
from liftseries.models.shared.levels import is_missing
from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.models.survival.complications import asked_at_visits, kinds_of
from liftseries.study.expressions import names_in, null_safe

NOT_DONE = "not_done"
COMPLICATIONS = ("infection", "sinusitis", "vertigo", "bleeding", "displacement")


@dataclass(frozen=True)
class Recorded:
    """What the series recorded.

    Attributes
    ----------
    cases : one row a site, as `cases()` gives it
    implants : one row an implant, as `follow_up()` gives it
    visits : the contract's visits
    data_until : the month in which the data were closed, or ""
    unrecorded : `not_done` or `left_out`: how probing counts in a centre whose logs tell of none
    constants : numbers of the plan by name
    """

    cases: pd.DataFrame
    implants: pd.DataFrame
    visits: pd.DataFrame
    data_until: str
    unrecorded: str
    constants: Mapping[str, float]
    _made: dict[float, pd.DataFrame] = field(default_factory=dict, repr=False, compare=False)  # month -> table

    def due(self, month: float) -> np.ndarray:
        """Where 31 December of the year of surgery + month + 3 lies before the closing; shape (n_sites,)."""
        closed = closing_month(self.data_until, self.cases, self.visits)
        year = np.full(len(self.cases), np.nan)
        if "surgery_year" in self.cases:
            year = self.cases["surgery_year"].to_numpy(float, na_value=np.nan)
        return closed + 1 - YEAR * (year + 1) >= month + WINDOW_MONTHS

    def table(self, month: float = 12.0) -> pd.DataFrame:
        """The cases with the columns worked out at a month, once for all indicators."""
        if month not in self._made:
            self._made[month] = self._table(month)
        return self._made[month]

    def _table(self, month: float) -> pd.DataFrame:
        cases = self.cases
        placed = with_implant(cases)
        site = cases["site_id"].astype(object)
        seen = seen_at(month, cases, self.visits)
        failed = self.implants.loc[self.implants["failed"].to_numpy(bool)]
        failed_at = dict(zip(failed["site_id"].astype(object), failed["months"].astype(float), strict=True))
        near = nearest_visits(gain_at_visits(self.visits, cases, ()), month)
        gains = dict(zip(near["site_id"].astype(object), near["gain_mm"].astype(float), strict=True))
        return cases.assign(
            has_log=texts(_has_log(cases), "yes"),
            probed=_probed(cases, self.unrecorded),
            implant_placed=np.where(placed, "yes", "no").astype(object),
            status=np.where(placed, _last_status(cases, self.visits), None),
            failed_months=site.map(failed_at).to_numpy(float),
            seen=np.where(placed, np.where(seen, "yes", "no"), None),
            gain_mm=site.map(gains).to_numpy(float),
            **_complications(cases, self.visits, month),
            **dict(self.constants),
        )


def texts(where: np.ndarray, word: str) -> np.ndarray:
    """A word where true, empty elsewhere; shape (n,)."""
    return np.where(where, word, None).astype(object)


def holds(expression: str, table: pd.DataFrame) -> np.ndarray:
    """Where an expression holds, shape (n,); everywhere where it is empty, nowhere where a cell it reads is missing."""
    if not expression:
        return np.ones(len(table), bool)
    return null_safe(expression, where_unknown=False)(with_columns(expression, table)).to_numpy(bool)


def known(expressions: Sequence[str], table: pd.DataFrame) -> np.ndarray:
    """Where all columns that the expressions read are known, `unknown` being missing; shape (n,)."""
    found = np.ones(len(table), bool)
    for expression in filter(None, expressions):
        wide = with_columns(expression, table)
        for name in names_in(expression):
            found &= ~is_missing(wide[name])
    return found


def with_columns(expression: str, table: pd.DataFrame) -> pd.DataFrame:
    """The columns that an expression reads, empty ones for those that were not recorded, `unknown` as missing."""
    names = list(names_in(expression))
    wide = table.reindex(columns=names)
    return wide.assign(**{name: wide[name].astype(object).mask(is_missing(wide[name])) for name in _words(wide)})


def _words(table: pd.DataFrame) -> list[str]:
    return [name for name in table if not pd.api.types.is_numeric_dtype(table[name])]


def _has_log(cases: pd.DataFrame) -> np.ndarray:
    columns = [name for name in DEVIATIONS if name in cases]
    return cases[columns].notna().any(axis=1).to_numpy(bool) if columns else np.zeros(len(cases), bool)


def _probed(cases: pd.DataFrame, unrecorded: str) -> np.ndarray:
    """yes or no, as not_probed says; a log in which it cannot be judged is of a centre that tells of no probing."""
    if "not_probed" not in cases:
        return np.full(len(cases), None, object)
    missed = cases["not_probed"].astype("boolean")
    found = np.where(missed.isna(), None, np.where(missed.fillna(False), "no", "yes")).astype(object)
    if unrecorded == NOT_DONE:
        found[missed.isna().to_numpy(bool) & _has_log(cases)] = "no"
    return found


def _last_status(cases: pd.DataFrame, visits: pd.DataFrame) -> np.ndarray:
    """The status at the last visit that tells of one, empty without one; shape (n_sites,)."""
    told = visits.loc[visits["status"].astype(object).isin(EXAMINED), ["site_id", "months", "status"]]
    last = told.astype({"site_id": object, "status": object}).sort_values(["months", "status"], kind="stable")
    last = last.drop_duplicates("site_id", keep="last").set_index("site_id")["status"]
    found = cases["site_id"].astype(object).map(last)
    return found.astype(object).where(found.notna(), None).to_numpy(object)


def _complications(cases: pd.DataFrame, visits: pd.DataFrame, month: float) -> dict[str, np.ndarray]:
    """Complication -> yes, no or empty at each site, from the visits up to the month."""
    asked = asked_at_visits(visits, cases)
    asked = asked[asked["months"].astype(float) <= month + HAIR]
    site = cases["site_id"].astype(object)
    told = site.isin(set(asked["site_id"])).to_numpy(bool)
    found = {}
    for kind in dict.fromkeys((*COMPLICATIONS, *kinds_of(visits))):
        ever = site.isin(set(asked.loc[asked["complication"].eq(kind), "site_id"])).to_numpy(bool)
        found[kind] = np.where(told, np.where(ever, "yes", "no"), None)
    return found
