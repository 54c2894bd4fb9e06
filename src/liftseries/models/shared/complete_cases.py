"""The complete cases that a model of an outcome stands on."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import NotFitted
from liftseries.models.shared.design import Design, count_reasons, design_matrix
from liftseries.models.shared.fitted import why_not_used
from liftseries.models.shared.outcomes import PERFORATION_UNKNOWN, known_perforation
from liftseries.models.shared.results import Fit, left_out_table


@dataclass(frozen=True)
class PerforationData:
    """What every model of a perforation stands on: the complete cases of its terms.

    Attributes
    ----------
    design
    event : shape (n_used,), true/false
    patient : shape (n_used,)
    n_unknown : sites whose perforation is unknown
    table : shape (n_used, …), the sites used
    why_not : site -> why it is not used, "" where it is; shape (n_sites,)
    """

    design: Design
    event: np.ndarray
    patient: np.ndarray
    n_unknown: int
    table: pd.DataFrame
    why_not: pd.Series

    @property
    def counts(self) -> dict[str, int]:
        """n_sites, n_patients and n_events, as a `Fit` takes them."""
        return {
            "n_sites": len(self.event),
            "n_patients": len(pd.unique(self.patient)),
            "n_events": int(self.event.sum()),
        }

    def left_out(self, analysis: str) -> pd.DataFrame:
        """The sites left out, as rows of `Estimates.left_out`."""
        reasons = [(PERFORATION_UNKNOWN, self.n_unknown), *count_reasons(self.design.reasons)]
        return left_out_table(analysis, "all", reasons)

    def empty_rows(self, fit: Fit, why: str) -> list[dict]:
        """A row a term that says why there is no estimate."""
        return [fit.row(term, problem=self.design.problems.get(term, why)) for term in self.design.terms()]


def perforation_data(cases: pd.DataFrame, terms: Sequence[str]) -> PerforationData:
    """The complete cases of a perforation model.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    terms : columns of `cases`
    """
    known, perforated = known_perforation(cases)
    table = cases.loc[known]
    design = design_matrix(table, terms)
    used = table.loc[design.used]
    reasons = np.full(len(cases), PERFORATION_UNKNOWN, object)
    reasons[known] = design.reasons
    return PerforationData(
        design=design,
        event=perforated[known][design.used],
        patient=used["patient_id"].to_numpy(),
        n_unknown=int((~known).sum()),
        table=used,
        why_not=why_not_used(cases, reasons),
    )


@dataclass(frozen=True)
class HazardData:
    """What every model of a failure stands on: the complete cases of its terms.

    Attributes
    ----------
    design
    months : shape (n_used,)
    failed : shape (n_used,), true/false
    patient : shape (n_used,)
    n_followed : implants before any was left out
    why_not : site -> why its implant is not used, "" where it is; shape (n_followed,)
    """

    design: Design
    months: np.ndarray
    failed: np.ndarray
    patient: np.ndarray
    n_followed: int
    why_not: pd.Series

    @property
    def counts(self) -> dict[str, int]:
        """n_sites, n_patients and n_events, as a `Fit` takes them."""
        return {
            "n_sites": len(self.months),
            "n_patients": len(pd.unique(self.patient)),
            "n_events": int(self.failed.sum()),
        }

    def left_out(self, analysis: str) -> pd.DataFrame:
        """The implants left out, as rows of `Estimates.left_out`."""
        return left_out_table(analysis, "all", count_reasons(self.design.reasons))

    def refuse_empty(self, terms_needed: bool = True) -> None:
        """Raise NotFitted where nothing was followed, nothing failed or no term is left."""
        if self.n_followed == 0:
            raise NotFitted(remark("none_followed"))
        if len(self.months) == 0:
            raise NotFitted(remark("no_complete_case_followed"))
        if not self.failed.any():
            raise NotFitted(remark("no_failure"))
        if terms_needed and not self.design.names:
            raise NotFitted(remark("no_term_to_compare"))

    def empty_rows(self, fit: Fit, why: str, extra: Sequence[str] = ()) -> list[dict]:
        """A row a term, and one for each `extra` parameter, that says why there is no estimate."""
        own = self.design.problems if len(self.months) else {}
        return [fit.row(term, problem=own.get(term, why)) for term in [*self.design.terms(), *extra]]


def hazard_data(implants: pd.DataFrame, terms: Sequence[str], intercept: bool = False) -> HazardData:
    """The complete cases of a model of failure.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    terms : columns of `implants`
    intercept : whether the model has a constant
    """
    design = design_matrix(implants, terms, intercept=intercept)
    used = implants.loc[design.used]
    return HazardData(
        design=design,
        months=used["months"].to_numpy(float),
        failed=used["failed"].to_numpy(bool),
        patient=used["patient_id"].to_numpy(),
        n_followed=len(implants),
        why_not=why_not_used(implants, design.reasons),
    )
