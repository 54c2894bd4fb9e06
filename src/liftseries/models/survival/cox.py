"""What goes with implant failure: Cox model, Efron ties, implants clustered in patients."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.cox import CoxFit, cox_regression
from liftseries.estimators.intervals import NotFitted
from liftseries.models.shared.complete_cases import HazardData, hazard_data
from liftseries.models.shared.fitted import COX, FAILED, fitted_model
from liftseries.models.shared.gates import MANY_EVENTS, ratio_gate
from liftseries.models.shared.results import Estimates, Fit, few_events_note, results_table, warned
from liftseries.models.shared.separation import coefficient_row, refuse_infinite_hazards

ANALYSIS, PENALISED = "survival.cox", "survival.firth_cox"
METHOD, CORRECTED = "sandwich", "corrected"


def fit_survival_cox(
    implants: pd.DataFrame, terms: Sequence[str], analysis: str = ANALYSIS, penalised: str = PENALISED
) -> Estimates:
    """Log hazard of failure on the plan's terms.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    terms : columns of `implants`
    analysis : what its rows are called
    penalised : the analysis that is quoted below 500 failures

    Returns
    -------
    Estimates
        Two rows a term on the scale `log_hazard`, `sandwich`, as R has it, and `corrected`, the headline from 500
        failures on; where the model has no finite answer, every row has its problem.

    Source: see `cox_regression`, `corrected_rows` and `refuse_infinite_hazards`.
    """
    data = hazard_data(implants, terms)
    design, effects, covariance = data.design, [], None
    n_failed, n_terms = int(data.failed.sum()), len(design.names)
    gate = remark("quoted_instead", analysis=penalised) if n_failed < MANY_EVENTS else ratio_gate(n_failed, n_terms)
    notes = (*few_events_note(n_failed, n_terms), *design.notes, gate)
    fit = Fit(analysis, "all", "log_hazard", METHOD, note=joined(*notes), **data.counts)
    corrected = replace(fit, method=CORRECTED)
    try:
        data.refuse_empty()
        refuse_infinite_hazards(design, data.months, data.failed)
        model = cox_regression(data.months, data.failed, design.matrix, data.patient)
    except NotFitted as why:
        rows = [*data.empty_rows(fit, str(why)), *data.empty_rows(corrected, str(why))]
    else:
        fitted = list(zip(design.names, model.coefficients, model.std_error, strict=True))
        covariance = model.covariance
        effects = fit.design_effect_rows(design.names, model.std_error, model.naive_std_error)
        rows = warned([coefficient_row(fit, term, b, se) for term, b, se in fitted], effects)
        rows += [
            row | {"headline": not gate and row["problem"] == ""} for row in corrected_rows(corrected, data, model)
        ]
        rows += [one.row(term, problem=why) for one in (fit, corrected) for term, why in design.problems.items()]
    left = (fitted_model(analysis, METHOD, FAILED, COX, design, data.why_not, covariance),)
    effects = results_table(effects)
    return Estimates(results_table(rows), data.left_out(analysis), design_effects=effects, fitted=left)


def corrected_rows(fit: Fit, data: HazardData, model: CoxFit) -> list[dict]:
    """A row a term with the sandwich's variance times m / (m - 1), never below the model's own, and t(m - 1).

    m is the smaller of the numbers of patients with a failure and of patients with an implant that has not failed: they
    carry the sandwich, which is too small where they are few (tests/benchmarks/coverage.py).
    """
    m = fewer_patients(data)
    terms = list(zip(data.design.names, model.coefficients, strict=True))
    if m < 2:
        return [fit.row(term, b, problem=remark("one_patient_of_failures_or_others")) for term, b in terms]
    fit = replace(fit, df=m - 1, note=joined(remark("t_less_one_of_fewer"), fit.note))
    std_error = np.maximum(model.std_error * np.sqrt(m / (m - 1)), model.naive_std_error)
    return [coefficient_row(fit, term, b, se) for (term, b), se in zip(terms, std_error, strict=True)]


def fewer_patients(data: HazardData) -> int:
    """m: patients with a failure, or with an implant that has not failed, whichever are fewer."""
    return min(len(pd.unique(data.patient[data.failed])), len(pd.unique(data.patient[~data.failed])))
