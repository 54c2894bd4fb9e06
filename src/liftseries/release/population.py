"""Who stands behind a number: the sites of a run, with what is needed to say which of them a count counts.

Every set is an array over the sites of `models/cases.parquet`, so that sets of different tables can be compared.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd

from liftseries.models.shared.levels import as_levels
from liftseries.models.shared.outcomes import known_perforation
from liftseries.study.plan import Plan


@dataclass(frozen=True)
class Population:
    """The sites of a finished run.

    Attributes
    ----------
    plan
    cases : one row a site, as `models.cases` gives it
    implants : one row an implant that was followed, as `follow_up` gives it
    visits : the checked visits
    """

    plan: Plan
    cases: pd.DataFrame
    implants: pd.DataFrame
    visits: pd.DataFrame

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
        if "placement" not in self.cases:
            return self.everyone
        return ~self.cases["placement"].astype(object).eq("none").to_numpy(bool)

    @cached_property
    def visited(self) -> np.ndarray:
        """Sites with a visit, whatever came of it."""
        return self.where_sites(self.visits["site_id"])

    @cached_property
    def _at(self) -> np.ndarray:
        """Where each implant stands among the sites."""
        place = pd.Series(np.arange(self.n_sites), index=self.cases["site_id"].astype(object))
        return place.loc[self.implants["site_id"].astype(object)].to_numpy(int)

    def of_implants(self, flags: np.ndarray) -> np.ndarray:
        """Sites of the implants flagged; `flags` has shape (n_implants,)."""
        members = np.zeros(self.n_sites, bool)
        members[self._at[np.asarray(flags, bool)]] = True
        return members

    @cached_property
    def followed(self) -> np.ndarray:
        """Sites whose implant was followed."""
        return self.of_implants(np.ones(len(self.implants), bool))

    def _implant_value(self, column: str, empty) -> np.ndarray:
        values = np.full(self.n_sites, empty)
        values[self._at] = self.implants[column].to_numpy(type(empty))
        return values

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
        return np.asarray(as_levels(self.cases[column]) == level)

    def patients_of(self, members: np.ndarray) -> np.ndarray:
        """All sites of the patients that have one of these."""
        return np.isin(self.patients, self.patients[members])

    def n_patients(self, members: np.ndarray) -> int:
        """How many patients have one of these sites."""
        return len(np.unique(self.patients[members]))


def read_population(output: Path, plan: Plan) -> Population:
    """From the tables that a run left in its output folder."""
    return Population(
        plan=plan,
        cases=pd.read_parquet(output / "models/cases.parquet").reset_index(drop=True),
        implants=pd.read_parquet(output / "models/implants.parquet").reset_index(drop=True),
        visits=pd.read_parquet(output / "checked/visits.parquet"),
    )
