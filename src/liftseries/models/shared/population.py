"""Who can stand behind a number: the sites of a run, with what is needed to say which of them a count counts.

Every set is an array over the sites of `cases`, so that sets of different tables can be compared. Each outcome's
`behind.py` says of its rows which set they count, by the same functions that select the sites of its analyses.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from liftseries.disclosure.counts import n_of
from liftseries.models.shared.due import closing_month, reachable_months
from liftseries.models.shared.follow_up import with_implant
from liftseries.models.shared.levels import as_levels
from liftseries.models.shared.outcomes import gain_at_visits, known_perforation

STEP_COLUMNS = ["site_id", "step_no", "finding", "advance_mm", "read_depth_mm", "deepest_before_mm"]
OUTCOMES = ("perforation", "achieved_last_mm", "planned_last_mm")


@dataclass(frozen=True)
class Population:
    """The sites of a finished run.

    Attributes
    ----------
    plan : key -> value, as under `plan` in study.yaml with every default filled in
    cases : one row a site, as `models.cases` gives it
    implants : one row an implant that was followed, as `follow_up` gives it
    visits : the checked visits
    steps : derived/steps.csv; no rows without a log
    data_until : the month in which the data were closed, as in study.yaml; "" where the tables imply it
    """

    plan: Mapping[str, Any]
    cases: pd.DataFrame
    implants: pd.DataFrame
    visits: pd.DataFrame
    steps: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=STEP_COLUMNS))
    data_until: str = ""
    _worked_out: dict = field(default_factory=dict, init=False, repr=False, compare=False)

    def once(self, key: tuple, work_out: Callable[[], Any]) -> Any:
        """What several rows need: worked out when it is first asked for by this key."""
        if key not in self._worked_out:
            self._worked_out[key] = work_out()
        return self._worked_out[key]

    @property
    def n_sites(self) -> int:
        """How many sites there are."""
        return len(self.cases)

    @cached_property
    def patients(self) -> np.ndarray:
        """Which patient each site is of, as a number; shape (n_sites,)."""
        return pd.factorize(self.cases["patient_id"])[0]

    @cached_property
    def everyone(self) -> np.ndarray:
        """All sites."""
        return np.ones(self.n_sites, bool)

    @cached_property
    def perforation_known(self) -> np.ndarray:
        """Sites of which it is known whether the membrane tore."""
        return known_perforation(self.cases)[0]

    @cached_property
    def perforated(self) -> np.ndarray:
        """Sites whose membrane tore."""
        return known_perforation(self.cases)[1]

    @cached_property
    def placed(self) -> np.ndarray:
        """Sites with an implant."""
        return with_implant(self.cases)

    @cached_property
    def visited(self) -> np.ndarray:
        """Sites with a visit, whatever came of it."""
        return self.where_sites(self.visits["site_id"])

    @cached_property
    def gains(self) -> pd.DataFrame:
        """One row a visit with a bone height, as `gain_at_visits` gives it."""
        return gain_at_visits(self.visits, self.cases)

    @cached_property
    def _place(self) -> pd.Series:
        """Where a site stands, by its key."""
        return pd.Series(np.arange(self.n_sites), index=self.cases["site_id"].astype(object))

    def by_site(self, site_id: pd.Series, values: np.ndarray, empty) -> np.ndarray:
        """Values of some sites, one each, as an array over all sites; `empty` at the others."""
        found = np.full(self.n_sites, empty, object if isinstance(empty, str) else None)
        found[self._place.loc[site_id.astype(object)].to_numpy(int)] = values
        return found

    def of_implants(self, flags: np.ndarray) -> np.ndarray:
        """Sites of the implants flagged; `flags` has shape (n_implants,)."""
        return self.by_site(self.implants["site_id"], np.asarray(flags, bool), False)

    @cached_property
    def followed(self) -> np.ndarray:
        """Sites whose implant was followed."""
        return self.of_implants(np.ones(len(self.implants), bool))

    def _implant_value(self, column: str, empty) -> np.ndarray:
        return self.by_site(self.implants["site_id"], self.implants[column].to_numpy(type(empty)), empty)

    @cached_property
    def months(self) -> np.ndarray:
        """Months until each implant's observation ended; NaN where none was followed."""
        return self._implant_value("months", np.nan)

    @cached_property
    def failed(self) -> np.ndarray:
        """Sites whose implant failed."""
        return self._implant_value("failed", False)

    @cached_property
    def died(self) -> np.ndarray:
        """Sites whose patient died with the implant in function."""
        return self._implant_value("died", False)

    @cached_property
    def reachable(self) -> np.ndarray:
        """Months that the follow-up of each site's implant could have reached when the data were closed."""
        return reachable_months(self.cases, closing_month(self.data_until, self.cases, self.visits))

    def where_sites(self, site_id) -> np.ndarray:
        """Which sites are named."""
        return self.cases["site_id"].astype(object).isin(set(site_id)).to_numpy(bool)

    def subset(self, subset: str) -> np.ndarray:
        """Sites of `all` or of `column=level`; nobody where there is no such column."""
        if subset == "all":
            return self.everyone
        column, _, level = subset.partition("=")
        if column not in self.cases:
            return ~self.everyone
        return np.asarray(self.once(("levels", column), lambda: as_levels(self.cases[column])) == level)

    def patients_of(self, members: np.ndarray) -> np.ndarray:
        """All sites of the patients that have one of these."""
        return (np.bincount(self.patients[members], minlength=self.n_sites) > 0)[self.patients]

    def n_patients(self, members: np.ndarray) -> int:
        """How many patients have one of these sites."""
        return n_of(self.patients, members)
