"""What goes with a perforation: logistic GEE, sites within patients; `unknown` is left out and counted."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.models.design import Design, count_reasons, design_matrix
from liftseries.models.estimators.gee import logistic_gee
from liftseries.models.perforation_rate import known_perforation
from liftseries.models.separation import coefficient_row, refuse_infinite_odds
from liftseries.models.tidy import (
    FEW_PATIENTS,
    Estimates,
    Fit,
    NotFitted,
    few_events_note,
    left_out_table,
    results_table,
)

ANALYSIS = "perforation.gee"


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
    """

    design: Design
    event: np.ndarray
    patient: np.ndarray
    n_unknown: int
    table: pd.DataFrame

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
        reasons = [("perforation unknown", self.n_unknown), *count_reasons(self.design.reasons)]
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
    return PerforationData(
        design=design,
        event=perforated[known][design.used],
        patient=used["patient_id"].to_numpy(),
        n_unknown=int((~known).sum()),
        table=used,
    )


def fit_perforation_gee(cases: pd.DataFrame, terms: Sequence[str]) -> Estimates:
    """Log odds of a perforation on the plan's terms.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    terms : columns of `cases`

    Returns
    -------
    Estimates
        A row a term on the scale `log_odds`; where the model has no finite answer, every row has its problem.

    Source: see `logistic_gee` and `refuse_infinite_odds`.
    """
    data = perforation_data(cases, terms)
    design, effects = data.design, []
    shared = {"analysis": ANALYSIS, "subset": "all", "scale": "log_odds", **data.counts}
    method = "; ".join([f"GEE exchangeable, {covariance_in_words(shared['n_patients'])}", *design.notes])
    try:
        refuse_infinite_odds(design, data.event)
        model = logistic_gee(design.matrix, data.event, data.patient)
    except NotFitted as why:
        rows = data.empty_rows(Fit(method=method, **shared), str(why))
    else:
        few = few_events_note(shared["n_events"], len(design.names) - 1, "perforation.firth, jackknife")
        method = "; ".join([method, *few, *filter(None, [model.remark])])
        fit = Fit(method=method, df=model.df, **shared)
        fitted = list(zip(design.names, model.coefficients, model.std_error, strict=True))
        rows = [coefficient_row(fit, term, b, se) for term, b, se in fitted]
        rows += [fit.row(term, problem=problem) for term, problem in design.problems.items()]
        effects = fit.design_effect_rows(design.names, model.std_error, model.naive_std_error)
    return Estimates(results_table(rows), data.left_out(ANALYSIS), design_effects=results_table(effects))


def covariance_in_words(n_patients: int) -> str:
    """Which covariance `logistic_gee` takes for so many patients."""
    return "bias-reduced (Mancl-DeRouen), t(K - p)" if n_patients < FEW_PATIENTS else "robust"
