"""What goes with a perforation where events are few: Firth-penalised odds, which stay finite under separation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.firth import FirthFit, firth_logistic
from liftseries.estimators.intervals import NotFitted, few_patients_df
from liftseries.estimators.patients_left_out import firth_logistic_refits, jackknife_covariance
from liftseries.models.perforation.quoted import FIRTH as ANALYSIS
from liftseries.models.perforation.quoted import quoted_model, whole_model
from liftseries.models.shared.complete_cases import PerforationData
from liftseries.models.shared.fitted import FIRTH, PERFORATED, fitted_model
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
    wider_rows,
)
from liftseries.models.shared.results import Estimates, Fit, results_table


@dataclass(frozen=True)
class Penalised:
    """Firth's fit of a perforation, and its refits without each patient.

    Attributes
    ----------
    data : the sites used
    fit : of `firth_logistic`
    refits : shape (n_groups, p)
        No row where patients cannot be left out; `why_no_refits` says why.
    """

    data: PerforationData
    fit: FirthFit
    refits: np.ndarray
    why_no_refits: str = ""


def penalised(data: PerforationData, profile: bool = True) -> Penalised:
    """Firth's model of complete cases.

    Parameters
    ----------
    data
    profile : whether profile limits are worked out

    Raises
    ------
    NotFitted
        Nothing, or nothing but perforations, to compare; too few sites.
    """
    n, p = data.design.matrix.shape
    if n == 0:
        raise NotFitted(remark("no_complete_case_with_perforation"))
    if data.event.all():
        raise NotFitted(remark("all_perforated_none_to_compare"))
    if not data.event.any():
        raise NotFitted(remark("no_perforation_to_compare"))
    if n <= p:
        raise NotFitted(remark("too_few_sites", n_sites=n, n_coefficients=p))
    fit = firth_logistic(data.design.matrix, data.event, profile)
    try:
        if (n_patients := data.counts["n_patients"]) <= p:
            raise NotFitted(remark("too_few_patients", n_patients=n_patients, n_coefficients=p))
        refits = firth_logistic_refits(data.design.matrix, data.event, data.patient, fit.coefficients)
    except NotFitted as why:
        return Penalised(data, fit, np.empty((0, p)), str(why))
    return Penalised(data, fit, refits)


def fit_perforation_firth(cases: pd.DataFrame, terms: Sequence[str]) -> Estimates:
    """Penalised log odds of a perforation on the plan's terms.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    terms : columns of `cases`

    Returns
    -------
    Estimates
        Three rows a term on the scale `log_odds`: `profile`, whose interval and p-value come from the penalised
        likelihood and take sites as independent, `jackknife`, whose standard error comes from leaving patients out, and
        `profile_or_jackknife`, the wider of both, quoted below 500 events; from there on the model is not fitted where
        the GEE has a finite answer, and the rows' problem says so. Where the events do not carry all terms, as
        many of the first as they carry stand in a model of their own, `first_terms`, and those rows are quoted.

    Source: see `firth_logistic` and `firth_logistic_refits`.
    """
    whole, quoted = whole_model(cases, terms), quoted_model(cases, terms)
    of_whole = model_rows(whole.data, (PROFILE, JACKKNIFE, WIDER), whole.firth_gate)
    rows, effects, data = list(of_whole.rows), list(of_whole.effects), whole.data
    left = [fitted_model(ANALYSIS, PROFILE, PERFORATED, FIRTH, data.design, data.why_not, of_whole.covariance)]
    if quoted.first_terms:
        note = remark("first_terms", n_terms=len(quoted.terms))
        found = model_rows(quoted.data, (FIRST_TERMS,), quoted.firth_gate, note)
        rows, effects, name = rows + found.rows, effects + found.effects, f"{ANALYSIS}.{FIRST_TERMS}"
        design, why_not = quoted.data.design, quoted.data.why_not
        left.append(fitted_model(name, FIRST_TERMS, PERFORATED, FIRTH, design, why_not, found.jackknife))
    effects = results_table(effects)
    return Estimates(results_table(rows), data.left_out(ANALYSIS), design_effects=effects, fitted=tuple(left))


def model_rows(data: PerforationData, methods: Sequence[str], gate: str, note: str = "") -> PenalisedRows:
    """Rows of a penalised model by each of `methods`, the last of which is the wider one, and their design effects.

    `gate` says why the wider one is not quoted, `note` which model it is.
    """
    shared = {"analysis": ANALYSIS, "subset": "all", "scale": "log_odds", **data.counts}
    notes, df = [note, *data.design.notes], few_patients_df(shared["n_patients"], len(data.design.names))
    profile = Fit(method=PROFILE, note=joined(*notes), **shared)
    left_out = {"note": joined(grouped_note(shared["n_patients"]), *notes), "df": df, **shared}
    jackknife, wider = Fit(method=JACKKNIFE, **left_out), Fit(method=methods[-1], **left_out)
    fits = [fit for fit in (profile, jackknife, wider) if fit.method in methods]
    try:
        if is_instead(gate):
            raise NotFitted(gate)
        model = penalised(data)
    except NotFitted as why:
        return PenalisedRows([row for fit in fits for row in data.empty_rows(fit, str(why))])

    names, coefficients = data.design.names, model.fit.coefficients
    covariance = None if model.why_no_refits else jackknife_covariance(model.refits)
    if covariance is None:
        of_refits = [jackknife.row(*row, problem=model.why_no_refits) for row in zip(names, coefficients, strict=True)]
    else:
        of_refits = jackknife_rows(jackknife, names, coefficients, np.sqrt(np.diag(covariance)))
    of_profile = profile_rows(profile, names, model.fit)
    rows = {PROFILE: of_profile, JACKKNIFE: of_refits, wider.method: wider_rows(wider, of_profile, of_refits, gate)}
    found = [row for method in methods for row in rows[method]]
    effects = [
        effect
        for fit in (wider, jackknife)
        if fit in fits
        for effect in jackknife_effects(fit, rows[fit.method], model.fit)
    ]
    found += [fit.row(term, problem=why) for fit in fits for term, why in data.design.problems.items()]
    return PenalisedRows(found, effects, model.fit.covariance, covariance)
