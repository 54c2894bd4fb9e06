"""What goes with a perforation: logistic GEE, sites within patients; `unknown` is left out and counted."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.models.design import INTERCEPT, count_reasons, design_matrix, level_of_events_only, level_without_event
from liftseries.models.estimators.gee import logistic_gee
from liftseries.models.perforation_rate import known_perforation
from liftseries.models.tidy import FEW_PATIENTS, Estimates, Fit, NotFitted, left_out_table, results_table

ANALYSIS = "perforation.gee"
LARGEST_COEFFICIENT = 15.0


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

    Source: see `logistic_gee`.
    """
    known, perforated = known_perforation(cases)
    table, event = cases.loc[known], perforated[known]
    design = design_matrix(table, terms)
    event = event[design.used]
    patient = table["patient_id"].to_numpy()[design.used]
    n_patients = len(pd.unique(patient))
    few = n_patients < FEW_PATIENTS
    covariance = "bias-reduced (Mancl-DeRouen), t(K - p)" if few else "robust"
    shared = {
        "analysis": ANALYSIS,
        "subset": "all",
        "scale": "log_odds",
        "n_sites": len(event),
        "n_patients": n_patients,
        "n_events": int(event.sum()),
    }
    method = "; ".join([f"GEE exchangeable, {covariance}", *design.notes])

    try:
        refuse_infinite_odds(design.factors, event)
        model = logistic_gee(design.matrix, event, patient)
    except NotFitted as why:
        fit = Fit(method=method, **shared)
        rows = [fit.row(term, problem=design.problems.get(term, str(why))) for term in design.terms()]
    else:
        method = "; ".join([method, *filter(None, [model.remark])])
        fit = Fit(method=method, df=model.df, **shared)
        rows = [
            coefficient_row(fit, term, b, se)
            for term, b, se in zip(design.names, model.coefficients, model.std_error, strict=True)
        ]
        rows += [fit.row(term, problem=problem) for term, problem in design.problems.items()]

    reasons = [("perforation unknown", int((~known).sum())), *count_reasons(design.reasons)]
    return Estimates(results_table(rows), left_out_table(ANALYSIS, "all", reasons))


def refuse_infinite_odds(factors: dict[str, pd.Categorical], event: np.ndarray) -> None:
    """Raise NotFitted, naming column and level, where the data leave an odds ratio infinite."""
    if len(event) == 0:
        raise NotFitted("no site has its perforation and all terms recorded")
    if not event.any():
        raise NotFitted("no site used was perforated, so no odds are finite")
    if event.all():
        raise NotFitted("every site used was perforated, so no odds are finite")
    if found := level_without_event(factors, event):
        raise NotFitted(no_finite_ratio("no", *found))
    if found := level_of_events_only(factors, event):
        raise NotFitted(no_finite_ratio("every", *found))


def no_finite_ratio(which: str, column: str, level: str) -> str:
    """Why a level without any contrast in its outcome stops the model."""
    return f"{which} site with {column} = {level} was perforated, so {column} has no finite odds ratio"


def coefficient_row(fit: Fit, term: str, estimate: float, std_error: float) -> dict:
    """A coefficient with its interval, and a remark where its unit makes it a strange number."""
    problem = ""
    if abs(estimate) > LARGEST_COEFFICIENT:
        problem = f"beyond {LARGEST_COEFFICIENT:g} log odds a unit: " + (
            "the odds where every term is 0, far from the sites seen"
            if term == INTERCEPT
            else "its unit is large against the values seen"
        )
    return fit.wald_row(term, estimate, std_error, problem)
