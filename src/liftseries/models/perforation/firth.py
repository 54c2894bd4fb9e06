"""What goes with a perforation where events are few: Firth-penalised odds, which stay finite under separation."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.firth import firth_logistic, firth_logistic_jackknife
from liftseries.estimators.intervals import NotFitted, few_patients_df
from liftseries.models.shared.complete_cases import PerforationData, perforation_data
from liftseries.models.shared.fitted import FIRTH, PERFORATED, FittedModel, fitted_model
from liftseries.models.shared.penalised import (
    JACKKNIFE,
    PROFILE,
    grouped_note,
    jackknife_effects,
    jackknife_rows,
    profile_rows,
)
from liftseries.models.shared.results import Estimates, Fit, results_table

ANALYSIS = "perforation.firth"


def fit_perforation_firth(cases: pd.DataFrame, terms: Sequence[str]) -> Estimates:
    """Penalised log odds of a perforation on the plan's terms.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    terms : columns of `cases`

    Returns
    -------
    Estimates
        Two rows a term on the scale `log_odds`: `profile`, whose interval and p-value come from the penalised
        likelihood and take sites as independent, and `jackknife`, whose standard error comes from leaving patients out.

    Source: see `firth_logistic` and `firth_logistic_jackknife`.
    """
    data = perforation_data(cases, terms)
    design = data.design
    shared = {"analysis": ANALYSIS, "subset": "all", "scale": "log_odds", **data.counts}
    profile = Fit(method=PROFILE, note=joined(*design.notes), **shared)
    jackknife = Fit(
        method=JACKKNIFE,
        note=joined(grouped_note(shared["n_patients"]), *design.notes),
        df=few_patients_df(shared["n_patients"], len(design.names)),
        **shared,
    )
    try:
        if len(data.event) == 0:
            raise NotFitted(remark("no_complete_case_with_perforation"))
        if data.event.all():
            raise NotFitted(remark("all_perforated_none_to_compare"))
        if not data.event.any():
            raise NotFitted(remark("no_perforation_to_compare"))
        if len(data.event) <= len(design.names):
            raise NotFitted(remark("too_few_sites", n_sites=len(data.event), n_coefficients=len(design.names)))
        model = firth_logistic(design.matrix, data.event)
    except NotFitted as why:
        rows = [*data.empty_rows(profile, str(why)), *data.empty_rows(jackknife, str(why))]
        return Estimates(results_table(rows), data.left_out(ANALYSIS), fitted=(model_of(data, None),))

    try:
        if shared["n_patients"] <= len(design.names):
            raise NotFitted(
                remark("too_few_patients", n_patients=shared["n_patients"], n_coefficients=len(design.names))
            )
        left_one_out = firth_logistic_jackknife(design.matrix, data.event, data.patient, model.coefficients)
        rows = jackknife_rows(jackknife, design.names, model.coefficients, left_one_out)
    except NotFitted as why:
        rows = [
            jackknife.row(term, b, problem=str(why)) for term, b in zip(design.names, model.coefficients, strict=True)
        ]
    effects = jackknife_effects(jackknife, rows, model)
    rows = [*profile_rows(profile, design.names, model), *rows]
    rows += [fit.row(term, problem=why) for fit in (profile, jackknife) for term, why in design.problems.items()]
    fitted = (model_of(data, model.covariance),)
    return Estimates(results_table(rows), data.left_out(ANALYSIS), design_effects=results_table(effects), fitted=fitted)


def model_of(data: PerforationData, covariance: np.ndarray | None) -> FittedModel:
    """The model for whoever refits it; its covariance is that of the `profile` rows."""
    return fitted_model(ANALYSIS, PROFILE, PERFORATED, FIRTH, data.design, data.why_not, covariance)
