"""What goes with implant failure where failures are few: Firth-penalised hazards, finite also under separation."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.firth_cox import firth_cox, firth_cox_jackknife
from liftseries.estimators.intervals import NotFitted, few_patients_df
from liftseries.models.shared.complete_cases import HazardData, hazard_data
from liftseries.models.shared.fitted import FAILED, FIRTH_COX, FittedModel, fitted_model
from liftseries.models.shared.penalised import (
    JACKKNIFE,
    PROFILE,
    grouped_note,
    jackknife_effects,
    jackknife_rows,
    profile_rows,
)
from liftseries.models.shared.results import Estimates, Fit, few_events, results_table
from liftseries.models.shared.separation import refuse_infinite_hazards
from liftseries.models.survival.cox import ANALYSIS as COX

ANALYSIS = "survival.firth_cox"


def fit_survival_firth_cox(implants: pd.DataFrame, terms: Sequence[str]) -> Estimates:
    """Penalised log hazard of failure on the plan's terms.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    terms : columns of `implants`

    Returns
    -------
    Estimates
        Two rows a term on the scale `log_hazard`, `profile` and `jackknife` as in `fit_perforation_firth`; `note`
        says when these rows, and not those of survival.cox, are the ones to read.

    Source: see `firth_cox`.
    """
    data = hazard_data(implants, terms)
    design = data.design
    shared = {"analysis": ANALYSIS, "subset": "all", "scale": "log_hazard", **data.counts}
    notes = [when_to_read(data), *design.notes]
    profile = Fit(method=PROFILE, note=joined(*notes), **shared)
    jackknife = Fit(
        method=JACKKNIFE,
        note=joined(grouped_note(shared["n_patients"]), *notes),
        df=few_patients_df(shared["n_patients"], len(design.names)),
        **shared,
    )
    try:
        data.refuse_empty()
        model = firth_cox(data.months, data.failed, design.matrix)
    except NotFitted as why:
        rows = [*data.empty_rows(profile, str(why)), *data.empty_rows(jackknife, str(why))]
        return Estimates(results_table(rows), data.left_out(ANALYSIS), fitted=(model_of(data, None),))

    named = list(zip(design.names, model.coefficients, strict=True))
    try:
        if shared["n_patients"] <= len(design.names):
            raise NotFitted(
                remark("too_few_patients", n_patients=shared["n_patients"], n_coefficients=len(design.names))
            )
        left_one_out = firth_cox_jackknife(data.months, data.failed, design.matrix, data.patient, model.coefficients)
        rows = jackknife_rows(jackknife, design.names, model.coefficients, left_one_out)
    except NotFitted as why:
        rows = [jackknife.row(term, b, problem=str(why)) for term, b in named]
    effects = jackknife_effects(jackknife, rows, model)
    rows = [*profile_rows(profile, design.names, model), *rows]
    rows += [fit.row(term, problem=why) for fit in (profile, jackknife) for term, why in design.problems.items()]
    fitted = (model_of(data, model.covariance),)
    return Estimates(results_table(rows), data.left_out(ANALYSIS), design_effects=results_table(effects), fitted=fitted)


def model_of(data: HazardData, covariance: np.ndarray | None) -> FittedModel:
    """The model for whoever refits it; its covariance is that of the `profile` rows."""
    return fitted_model(ANALYSIS, PROFILE, FAILED, FIRTH_COX, data.design, data.why_not, covariance)


def when_to_read(data: HazardData) -> str:
    """Whether the penalised rows are the ones to read, and why."""
    n_terms = max(len(data.design.names), 1)
    n_failed = int(data.failed.sum())
    if n_failed == 0:
        return remark("to_be_read_beside", analysis=COX)
    try:
        refuse_infinite_hazards(data.design, data.months, data.failed)
    except NotFitted:
        return remark("to_be_read_not_finite", analysis=COX)
    if few_events(n_failed, n_terms):
        return remark("to_be_read_few_failures", analysis=COX, n_failures=n_failed, n_coefficients=n_terms)
    return remark("to_be_read_beside", analysis=COX)
