"""What goes with implant failure where failures are few: Firth-penalised hazards, finite also under separation."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.firth import FirthFit
from liftseries.estimators.firth_cox import firth_cox
from liftseries.estimators.firth_cox_refits import firth_cox_refits
from liftseries.estimators.intervals import NotFitted, few_patients_df
from liftseries.estimators.patients_left_out import jackknife_covariance
from liftseries.models.shared.complete_cases import HazardData, hazard_data
from liftseries.models.shared.fitted import FAILED, FIRTH_COX, fitted_model
from liftseries.models.shared.gates import ratio_gate, terms_allowed
from liftseries.models.shared.penalised import (
    FIRST_TERMS,
    JACKKNIFE,
    PROFILE,
    WIDER,
    PenalisedRows,
    grouped_note,
    is_instead,
    jackknife_effects,
    jackknife_rows,
    profile_rows,
    quoted_gate,
    wider_rows,
)
from liftseries.models.shared.results import Estimates, Fit, results_table
from liftseries.models.shared.separation import refuse_infinite_hazards
from liftseries.models.survival.cox import ANALYSIS as COX

ANALYSIS = "survival.firth_cox"


def fit_survival_firth_cox(
    implants: pd.DataFrame, terms: Sequence[str], analysis: str = ANALYSIS, instead: str = COX
) -> Estimates:
    """Penalised log hazard of failure on the plan's terms.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    terms : columns of `implants`
    analysis : what its rows are called
    instead : the analysis that is quoted from 500 failures on

    Returns
    -------
    Estimates
        Three rows a term on the scale `log_hazard`: `profile` and `jackknife` as in `fit_perforation_firth`, and
        `profile_or_jackknife`, the headline below 500 failures; from there on the model is not fitted where that
        without a penalty has finite hazard ratios, and the rows' problem says so. Where the failures carry fewer terms
        than the plan has, the headline is `first_terms`: the same of a model of the plan's first terms, as many as they
        carry.

    Source: see `firth_cox` and `wider_rows`.
    """
    data = hazard_data(implants, terms)
    gate = quoted_gate(int(data.failed.sum()), len(data.design.names), instead if _has_answer(data) else "")
    whole = penalised_rows(data, analysis, WIDER, gate)
    rows = list(whole.rows)
    left = [fitted_model(analysis, PROFILE, FAILED, FIRTH_COX, data.design, data.why_not, whole.covariance)]
    if fewer := first_terms(implants, terms):
        reduced = hazard_data(implants, fewer)
        told = remark("first_terms", n_terms=len(fewer))
        found = penalised_rows(reduced, analysis, FIRST_TERMS, note=told)
        rows += [row for row in found.rows if row["method"] == FIRST_TERMS]
        name = f"{analysis}.{FIRST_TERMS}"
        design, why_not = reduced.design, reduced.why_not
        left.append(fitted_model(name, FIRST_TERMS, FAILED, FIRTH_COX, design, why_not, found.jackknife))
    effects = results_table(whole.effects)
    return Estimates(results_table(rows), data.left_out(analysis), design_effects=effects, fitted=tuple(left))


def first_terms(implants: pd.DataFrame, terms: Sequence[str]) -> list[str]:
    """The plan's first terms, as many as the failures carry; none where they carry all of them, or no ratio at all."""
    data = hazard_data(implants, terms)
    n_failed = int(data.failed.sum())
    if not terms_allowed(n_failed) or not ratio_gate(n_failed, len(data.design.names)):
        return []
    for n in range(len(terms) - 1, 0, -1):
        fewer = hazard_data(implants, terms[:n])
        names = fewer.design.names
        if names and not ratio_gate(int(fewer.failed.sum()), len(names)):
            return list(terms[:n])
    return []


def penalised_rows(data: HazardData, analysis: str, wider: str, gate: str = "", note: str = "") -> PenalisedRows:
    """Rows of one model, `wider` the method of those with the wider limits, its design effects and covariances."""
    design, counts = data.design, data.counts
    shared = {"analysis": analysis, "subset": "all", "scale": "log_hazard", **counts}
    notes = [note, *design.notes]
    of_profile = Fit(method=PROFILE, note=joined(*notes), **shared)
    of_jackknife = Fit(
        method=JACKKNIFE,
        note=joined(grouped_note(counts["n_patients"]), *notes),
        df=few_patients_df(counts["n_patients"], len(design.names)),
        **shared,
    )
    of_wider = Fit(method=wider, note=of_jackknife.note, **shared)
    fits = (of_profile, of_jackknife, of_wider)
    try:
        data.refuse_empty()
        if is_instead(gate):
            raise NotFitted(gate)
        model = firth_cox(data.months, data.failed, design.matrix)
    except NotFitted as why:
        return PenalisedRows([row for fit in fits for row in data.empty_rows(fit, str(why))])
    profile = profile_rows(of_profile, design.names, model)
    jackknife, of_refits = _jackknife(of_jackknife, data, model)
    rows = [*profile, *jackknife, *wider_rows(of_wider, profile, jackknife, gate)]
    rows += [fit.row(term, problem=why) for fit in fits for term, why in design.problems.items()]
    effects = jackknife_effects(of_jackknife, jackknife, model)
    return PenalisedRows(rows, effects, model.covariance, of_refits)


def _jackknife(fit: Fit, data: HazardData, model: FirthFit) -> tuple[list[dict], np.ndarray | None]:
    """Rows of the jackknife and its covariance; without an interval, and None, where no patient can be left out."""
    names, beta = data.design.names, model.coefficients
    try:
        if fit.n_patients <= len(names):
            raise NotFitted(remark("too_few_patients", n_patients=fit.n_patients, n_coefficients=len(names)))
        refits = firth_cox_refits(data.months, data.failed, data.design.matrix, data.patient, beta)
        covariance = jackknife_covariance(refits)
        return jackknife_rows(fit, names, beta, np.sqrt(np.diag(covariance))), covariance
    except NotFitted as why:
        return [fit.row(term, b, problem=str(why)) for term, b in zip(names, beta, strict=True)], None


def _has_answer(data: HazardData) -> bool:
    """Whether the model without a penalty has finite hazard ratios."""
    try:
        data.refuse_empty()
        refuse_infinite_hazards(data.design, data.months, data.failed)
    except NotFitted:
        return False
    return True
