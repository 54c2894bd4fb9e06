"""Whether the hazard ratios of survival.cox stay the same over time: score tests, and residuals to look at."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import chdtrc

from liftseries.base.remarks import remark
from liftseries.estimators.cox import cox_regression
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.proportional_hazards import HazardsOverTime, hazards_over_time
from liftseries.estimators.spline import knots_of, restricted_cubic_spline
from liftseries.models.shared.complete_cases import hazard_data
from liftseries.models.shared.gates import diagnostics_gate
from liftseries.models.shared.results import Estimates, Fit, results_table
from liftseries.models.shared.separation import refuse_infinite_hazards

ANALYSIS = "survival.ph"
GLOBAL = "GLOBAL"
SCORE, CLUSTERED = "score", "score_clustered"
RESIDUALS = ("term", "months", "residual", "smooth", "coefficient")


@dataclass(frozen=True)
class ProportionalHazards(Estimates):
    """The tests, and what their figure is drawn from.

    Attributes
    ----------
    residuals : `term, months, residual, smooth, coefficient`
        A row a failure and coefficient, on the log hazard: the residual tells what the coefficient would be at that
        time, `smooth` is a restricted cubic spline through them, `coefficient` the model's.
    """

    residuals: pd.DataFrame


def fit_survival_ph(implants: pd.DataFrame, terms: Sequence[str]) -> ProportionalHazards:
    """Test each term of the Cox model, and all together, for change with time.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    terms : columns of `implants`

    Returns
    -------
    ProportionalHazards
        Two rows a term and two `GLOBAL`, scale `chi_squared`: implants taken as independent, and clustered in patients,
        the headline from 20 failures on; below, no smooth line is drawn through the residuals either.

    Source: see `hazards_over_time`.
    """
    data = hazard_data(implants, terms)
    design = data.design
    gate = diagnostics_gate(int(data.failed.sum()))
    shared = {"analysis": ANALYSIS, "subset": "all", "scale": "chi_squared", "note": gate, **data.counts}
    of_term = {term: [] for term in dict.fromkeys(name.partition("[")[0] for name in design.names)}
    for k, name in enumerate(design.names):
        of_term[name.partition("[")[0]].append(k)
    groups = {term: np.array(columns) for term, columns in of_term.items()}
    groups[GLOBAL] = np.arange(len(design.names))
    residuals = pd.DataFrame(columns=list(RESIDUALS))
    rows = []
    try:
        data.refuse_empty()
        refuse_infinite_hazards(design, data.months, data.failed)
        model = cox_regression(data.months, data.failed, design.matrix, data.patient)
        fitted = (data.months, data.failed, design.matrix, data.patient, model.coefficients)
        over_time = hazards_over_time(*fitted)
        residuals = residual_table(design.names, model.coefficients, over_time)
        residuals["smooth"] = np.nan if gate else residuals["smooth"]
    except NotFitted as why:
        problems = {term: str(why) for term in groups} | (design.problems if len(data.months) else {})
        for method in (SCORE, CLUSTERED):
            fit = Fit(method=method, **shared)
            rows += [
                fit.row(term, problem=problems.get(term, str(why)))
                for term in dict.fromkeys([*groups, *design.problems])
            ]
        return ProportionalHazards(results_table(rows), data.left_out(ANALYSIS), residuals=residuals)

    for method in (SCORE, CLUSTERED):
        fit = Fit(method=method, **shared)
        rows += [score_row(fit, term, columns, over_time, len(design.names)) for term, columns in groups.items()]
        rows += [fit.row(term, problem=problem) for term, problem in design.problems.items()]
    return ProportionalHazards(results_table(rows), data.left_out(ANALYSIS), residuals=residuals)


def score_row(fit: Fit, term: str, columns: np.ndarray, over_time: HazardsOverTime, n_coefficients: int) -> dict:
    """The test of a term's columns, or of all together; the clustered one is the headline where no note forbids it."""
    clustered = fit.method == CLUSTERED
    try:
        if clustered and fit.n_patients <= 2 * n_coefficients:
            raise NotFitted(remark("too_few_patients_for_clustered_test", n_patients=fit.n_patients))
        chi_squared = over_time.chi_squared(columns, clustered)
    except NotFitted as why:
        return fit.row(term, problem=str(why))
    p_value = float(chdtrc(len(columns), chi_squared))
    return fit.row(term, chi_squared, df=len(columns), p_value=p_value, headline=clustered and not fit.note)


def residual_table(names: Sequence[str], coefficients: np.ndarray, over_time) -> pd.DataFrame:
    """Residuals of every coefficient with a smooth line through them, on the transformed time."""
    knots = knots_of(over_time.transformed, 4)
    n_failed = len(over_time.months)
    bent = len(knots) >= 3 and n_failed > len(knots) + 1
    basis = restricted_cubic_spline(over_time.transformed, knots) if bent else over_time.transformed[:, None]
    basis = np.column_stack([np.ones(n_failed), basis])
    smooth = basis @ np.linalg.lstsq(basis, over_time.residuals, rcond=None)[0]
    tables = [
        pd.DataFrame(
            {
                "term": name,
                "months": over_time.months,
                "residual": over_time.residuals[:, k],
                "smooth": smooth[:, k],
                "coefficient": coefficients[k],
            }
        ).sort_values("months", kind="stable")
        for k, name in enumerate(names)
    ]
    return pd.concat(tables, ignore_index=True)
