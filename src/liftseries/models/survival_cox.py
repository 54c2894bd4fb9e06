"""What goes with implant failure: Cox model, Efron ties, implants clustered in patients."""

from collections.abc import Sequence

import pandas as pd

from liftseries.models.design import count_reasons, design_matrix, level_without_event
from liftseries.models.estimators.cox import cox_efron
from liftseries.models.tidy import Estimates, Fit, NotFitted, left_out_table, results_table

ANALYSIS = "survival.cox"


def fit_survival_cox(implants: pd.DataFrame, terms: Sequence[str]) -> Estimates:
    """Log hazard of failure on the plan's terms.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    terms : columns of `implants`

    Returns
    -------
    Estimates
        A row a term on the scale `log_hazard`; where the model has no finite answer, every row has its
        problem.

    Source: see `cox_efron`.
    """
    design = design_matrix(implants, terms, intercept=False)
    used = implants.loc[design.used]
    failed = used["failed"].to_numpy(bool)
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="log_hazard",
        method="; ".join(["Cox, Efron ties, patient-clustered sandwich", *design.notes]),
        n_sites=len(used),
        n_patients=used["patient_id"].nunique(),
        n_events=int(failed.sum()),
    )
    try:
        if len(implants) == 0:
            raise NotFitted("no implant was followed")
        if len(used) == 0:
            raise NotFitted("no implant followed has all terms recorded")
        if not failed.any():
            raise NotFitted("no implant used has failed, so no hazard can be compared")
        if found := level_without_event(design.factors, failed):
            column, level = found
            raise NotFitted(f"no implant with {column} = {level} has failed, so {column} has no finite hazard ratio")
        if not design.names:
            raise NotFitted("no term is left to compare")
        months, patient = used["months"].to_numpy(float), used["patient_id"].to_numpy()
        model = cox_efron(months, failed, design.matrix, patient)
    except NotFitted as why:
        told = design.problems if len(used) else {}
        rows = [fit.row(term, problem=told.get(term, str(why))) for term in design.terms()]
    else:
        rows = [
            fit.wald_row(term, b, se)
            for term, b, se in zip(design.names, model.coefficients, model.std_error, strict=True)
        ]
        rows += [fit.row(term, problem=problem) for term, problem in design.problems.items()]
    return Estimates(results_table(rows), left_out_table(ANALYSIS, "all", count_reasons(design.reasons)))
