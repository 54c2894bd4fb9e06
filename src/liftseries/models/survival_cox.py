"""What goes with implant failure: Cox model, Efron ties, implants clustered in patients."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.models.design import Design, count_reasons, design_matrix
from liftseries.models.estimators.cox import cox_regression
from liftseries.models.separation import coefficient_row, refuse_infinite_hazards
from liftseries.models.tidy import Estimates, Fit, NotFitted, few_events_note, left_out_table, results_table

ANALYSIS = "survival.cox"
METHOD = "Cox, Efron ties, patient-clustered sandwich"


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
    """

    design: Design
    months: np.ndarray
    failed: np.ndarray
    patient: np.ndarray
    n_followed: int

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
            raise NotFitted("no implant was followed")
        if len(self.months) == 0:
            raise NotFitted("no implant followed has all terms recorded")
        if not self.failed.any():
            raise NotFitted("no implant used has failed, so no hazard can be compared")
        if terms_needed and not self.design.names:
            raise NotFitted("no term is left to compare")

    def empty_rows(self, fit: Fit, why: str, extra: Sequence[str] = ()) -> list[dict]:
        """A row a term, and one for each `extra` parameter, that says why there is no estimate."""
        told = self.design.problems if len(self.months) else {}
        return [fit.row(term, problem=told.get(term, why)) for term in [*self.design.terms(), *extra]]


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
    )


def fit_survival_cox(
    implants: pd.DataFrame,
    terms: Sequence[str],
    analysis: str = ANALYSIS,
    penalised: str = "survival.firth_cox, jackknife",
) -> Estimates:
    """Log hazard of failure on the plan's terms.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    terms : columns of `implants`
    analysis : what its rows are called
    penalised : the rows to read where failures are few

    Returns
    -------
    Estimates
        A row a term on the scale `log_hazard`; where the model has no finite answer, every row has its
        problem.

    Source: see `cox_regression` and `refuse_infinite_hazards`.
    """
    data = hazard_data(implants, terms)
    design, effects = data.design, []
    fit = Fit(
        analysis=analysis,
        subset="all",
        scale="log_hazard",
        method="; ".join(
            [
                METHOD,
                *few_events_note(int(data.failed.sum()), len(design.names), penalised),
                *design.notes,
            ]
        ),
        **data.counts,
    )
    try:
        data.refuse_empty()
        refuse_infinite_hazards(design, data.months, data.failed)
        model = cox_regression(data.months, data.failed, design.matrix, data.patient)
    except NotFitted as why:
        rows = data.empty_rows(fit, str(why))
    else:
        fitted = list(zip(design.names, model.coefficients, model.std_error, strict=True))
        rows = [coefficient_row(fit, term, b, se) for term, b, se in fitted]
        rows += [fit.row(term, problem=problem) for term, problem in design.problems.items()]
        effects = fit.design_effect_rows(design.names, model.std_error, model.naive_std_error)
    return Estimates(results_table(rows), data.left_out(analysis), design_effects=results_table(effects))
