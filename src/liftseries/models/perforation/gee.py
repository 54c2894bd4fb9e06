"""What goes with a perforation: logistic GEE, sites within patients; `unknown` is left out and counted."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.gee import INDEPENDENCE, GeeFit, logistic_gee
from liftseries.estimators.intervals import FEW_PATIENTS, NotFitted, few_patients_df
from liftseries.models.perforation.quoted import GEE as ANALYSIS
from liftseries.models.perforation.quoted import quoted_model
from liftseries.models.perforation.rate import negative_correlation_note
from liftseries.models.shared.complete_cases import perforation_data
from liftseries.models.shared.fitted import GEE as GEE_FAMILY
from liftseries.models.shared.fitted import PERFORATED, fitted_model
from liftseries.models.shared.results import Estimates, Fit, few_events_note, results_table
from liftseries.models.shared.separation import coefficient_row, refuse_infinite_odds

SANDWICH, CORRECTED = "sandwich", "corrected"
EXCHANGEABLE = GEE_FAMILY.format(correlation="exchangeable")


def fit_perforation_gee(cases: pd.DataFrame, terms: Sequence[str]) -> Estimates:
    """Log odds of a perforation on the plan's terms.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    terms : columns of `cases`

    Returns
    -------
    Estimates
        Two rows a term on the scale `log_odds`: `sandwich`, robust errors and the normal; `corrected`, the larger of
        Mancl and DeRouen's variance and the model's own, with t(K - p) below 50 patients, quoted from 500 events on.
        Where the model has no finite answer, every row has its problem.

    Source: see `logistic_gee` and `refuse_infinite_odds`.
    """
    data = perforation_data(cases, terms)
    design = data.design
    shared = {"analysis": ANALYSIS, "subset": "all", "scale": "log_odds", **data.counts}
    try:
        refuse_infinite_odds(design, data.event)
        model = logistic_gee(design.matrix, data.event, data.patient, few_clusters=0)
    except NotFitted as why:
        fits = [Fit(method=method, note=joined(*design.notes), **shared) for method in (SANDWICH, CORRECTED)]
        rows = [row for fit in fits for row in data.empty_rows(fit, str(why))]
        left = fitted_model(ANALYSIS, SANDWICH, PERFORATED, EXCHANGEABLE, design, data.why_not, None)
        return Estimates(results_table(rows), data.left_out(ANALYSIS), fitted=(left,))

    few = few_events_note(shared["n_events"], len(design.names) - 1)
    notes = [*design.notes, *few, model.remark, negative_correlation_note(model.alpha)]
    sandwich = Fit(method=SANDWICH, note=joined(*notes), **shared)
    df = few_patients_df(shared["n_patients"], len(design.names))
    t = remark("t_less_coefficients") if df is not None else ""
    corrected = Fit(method=CORRECTED, df=df, note=joined(t, *notes), **shared)
    rows, effects = sandwich_rows(sandwich, design.names, model)
    more_rows, more_effects = corrected_rows(corrected, design.names, model, quoted_model(cases, terms).gee_gate)
    rows += more_rows
    rows += [fit.row(term, problem=why) for fit in (sandwich, corrected) for term, why in design.problems.items()]
    family = GEE_FAMILY.format(correlation="independence") if model.remark == INDEPENDENCE else EXCHANGEABLE
    left = fitted_model(ANALYSIS, SANDWICH, PERFORATED, family, design, data.why_not, model.covariance)
    table = results_table([*effects, *more_effects])
    return Estimates(results_table(rows), data.left_out(ANALYSIS), design_effects=table, fitted=(left,))


def sandwich_rows(fit: Fit, names: Sequence[str], model: GeeFit) -> tuple[list[dict], list[dict]]:
    """A row a term with robust errors, as R has them; and their design effects."""
    fitted = zip(names, model.coefficients, model.std_error, strict=True)
    effects = fit.design_effect_rows(names, model.std_error, model.naive_std_error)
    low = {effect["term"].partition(" ")[2]: effect["note"] for effect in effects}
    rows = [coefficient_row(fit, term, b, se) for term, b, se in fitted]
    return [row | {"note": joined(fit.note, low.get(row["term"], ""))} for row in rows], effects


def corrected_rows(fit: Fit, names: Sequence[str], model: GeeFit, gate: str) -> tuple[list[dict], list[dict]]:
    """A row a term with the larger of Mancl and DeRouen's variance and of the model's; and their design effects.

    `gate` says why they are not quoted; "" where they are.
    """
    try:
        std_error = np.sqrt([model.corrected_variance(one) for one in np.eye(len(names))])
        of_model = std_error > np.sqrt(np.diag(model.bias_reduced())) * (1 + 1e-12)
    except NotFitted as why:
        fitted = zip(names, model.coefficients, strict=True)
        return [fit.row(term, b, problem=str(why), note=joined(fit.note, gate)) for term, b in fitted], []
    rows = []
    for term, b, se, own in zip(names, model.coefficients, std_error, of_model, strict=True):
        row = coefficient_row(fit, term, b, se)
        note = joined(remark("models_variance") if own else "", fit.note, gate)
        rows.append(row | {"note": note, "headline": not gate and np.isfinite(row["estimate"])})
    return rows, fit.design_effect_rows(names, std_error, model.naive_std_error)


def bias_reduced_note(n_patients: int) -> str:
    """A remark where patients are so few that `logistic_gee` takes the bias-reduced covariance, else nothing."""
    return remark("bias_reduced") if n_patients < FEW_PATIENTS else ""
