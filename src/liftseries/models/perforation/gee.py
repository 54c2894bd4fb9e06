"""What goes with a perforation: logistic GEE, sites within patients; `unknown` is left out and counted."""

from collections.abc import Sequence

import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.gee import INDEPENDENCE, logistic_gee
from liftseries.estimators.intervals import FEW_PATIENTS, NotFitted
from liftseries.models.shared.complete_cases import perforation_data
from liftseries.models.shared.fitted import GEE, PERFORATED, fitted_model
from liftseries.models.shared.results import Estimates, Fit, few_events_note, results_table
from liftseries.models.shared.separation import coefficient_row, refuse_infinite_odds

ANALYSIS = "perforation.gee"
METHOD = "sandwich"


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
    design, effects, family, covariance = data.design, [], GEE.format(correlation="exchangeable"), None
    shared = {"analysis": ANALYSIS, "subset": "all", "scale": "log_odds", **data.counts}
    notes = [bias_reduced_note(shared["n_patients"]), *design.notes]
    try:
        refuse_infinite_odds(design, data.event)
        model = logistic_gee(design.matrix, data.event, data.patient)
    except NotFitted as why:
        rows = data.empty_rows(Fit(method=METHOD, note=joined(*notes), **shared), str(why))
    else:
        few = few_events_note(shared["n_events"], len(design.names) - 1, "perforation.firth")
        fit = Fit(method=METHOD, df=model.df, note=joined(*notes, *few, model.remark), **shared)
        fitted = list(zip(design.names, model.coefficients, model.std_error, strict=True))
        rows = [coefficient_row(fit, term, b, se) for term, b, se in fitted]
        rows += [fit.row(term, problem=problem) for term, problem in design.problems.items()]
        effects = fit.design_effect_rows(design.names, model.std_error, model.naive_std_error)
        covariance = model.covariance
        if model.remark == INDEPENDENCE:
            family = GEE.format(correlation="independence")
    model_left = fitted_model(ANALYSIS, METHOD, PERFORATED, family, design, data.why_not, covariance)
    return Estimates(
        results_table(rows), data.left_out(ANALYSIS), design_effects=results_table(effects), fitted=(model_left,)
    )


def bias_reduced_note(n_patients: int) -> str:
    """A remark where patients are so few that `logistic_gee` takes the bias-reduced covariance, else nothing."""
    return remark("bias_reduced") if n_patients < FEW_PATIENTS else ""
