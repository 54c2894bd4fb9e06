"""What goes with implant failure: Cox model, Efron ties, implants clustered in patients."""

from collections.abc import Sequence

import pandas as pd

from liftseries.base.remarks import joined
from liftseries.estimators.cox import cox_regression
from liftseries.estimators.intervals import NotFitted
from liftseries.models.shared.complete_cases import hazard_data
from liftseries.models.shared.fitted import COX, FAILED, fitted_model
from liftseries.models.shared.results import Estimates, Fit, few_events_note, results_table
from liftseries.models.shared.separation import coefficient_row, refuse_infinite_hazards

ANALYSIS = "survival.cox"
METHOD = "sandwich"


def fit_survival_cox(
    implants: pd.DataFrame,
    terms: Sequence[str],
    analysis: str = ANALYSIS,
    penalised: str = "survival.firth_cox",
) -> Estimates:
    """Log hazard of failure on the plan's terms.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    terms : columns of `implants`
    analysis : what its rows are called
    penalised : the analysis to read where failures are few, "" where there is none

    Returns
    -------
    Estimates
        A row a term on the scale `log_hazard`; where the model has no finite answer, every row has its
        problem.

    Source: see `cox_regression` and `refuse_infinite_hazards`.
    """
    data = hazard_data(implants, terms)
    design, effects, covariance = data.design, [], None
    fit = Fit(
        analysis=analysis,
        subset="all",
        scale="log_hazard",
        method=METHOD,
        note=joined(*few_events_note(int(data.failed.sum()), len(design.names), penalised), *design.notes),
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
        covariance = model.covariance
    model_left = fitted_model(analysis, METHOD, FAILED, COX, design, data.why_not, covariance)
    return Estimates(
        results_table(rows), data.left_out(analysis), design_effects=results_table(effects), fitted=(model_left,)
    )
