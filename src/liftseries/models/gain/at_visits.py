"""A mixed model of what was measured at the visits, sites within patients, with what the report quotes of it.

Two methods a term: `reml` is the fit's own error, as R gives it; `corrected`, the headline, is the larger of it and of
the patients' sandwich times K / (K - 1), which holds where patients differ in their course over time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import FEW_PATIENTS, NotFitted
from liftseries.estimators.mixed import MixedFit, mixed_reml
from liftseries.estimators.mixed_clustered import patient_influence
from liftseries.models.shared.design import Design, design_matrix
from liftseries.models.shared.fitted import REML as REML_FAMILY
from liftseries.models.shared.fitted import FittedModel, fitted_model, random_intercepts, why_not_used
from liftseries.models.shared.gates import FEWEST_MEASUREMENTS
from liftseries.models.shared.results import Fit

REML, CORRECTED = "reml", "corrected"
MONTHS_A_YEAR = 12.0
CHANGE = "change per year"
NO_VARIANCES = {"patient_sd_mm": np.nan, "site_sd_mm": np.nan, "residual_sd_mm": np.nan}


@dataclass(frozen=True)
class Measured:
    """What was measured at visits.

    Attributes
    ----------
    visits : one row a measurement: `site_id, patient_id, months`, the value and the site's columns
    value : the column, mm
    terms : of the model, `months` or columns of the sites
    nowhere, no_complete_case : remarks, where nothing was measured, or no visit has all terms too
    """

    visits: pd.DataFrame
    value: str
    terms: Sequence[str]
    nowhere: str
    no_complete_case: str


@dataclass(frozen=True)
class AtVisits:
    """The model's answer.

    Attributes
    ----------
    rows, effects : of results.csv, and their design effects
    variances : `patient_sd_mm, site_sd_mm, residual_sd_mm, n_visits`
        Empty where the model has no such intercept or could not be fitted.
    design : which visits were used, and why others were not
    covariance : shape (p, p), REML's of the coefficients; None where there is none
    random : its intercepts, in lme4's words
    """

    rows: list[dict]
    effects: list[dict]
    variances: Mapping[str, float]
    design: Design
    covariance: np.ndarray | None
    random: str

    def model(self, analysis: str, measured: Measured, cases: pd.DataFrame, reason: pd.Series) -> FittedModel:
        """The model for whoever refits it; `reason` says of each site of `cases` why it is not used."""
        why_not = why_not_used(cases, reason.to_numpy())
        family, random = REML_FAMILY, self.random
        return fitted_model(
            analysis, REML, measured.value, family, self.design, why_not, self.covariance, random=random
        )


@dataclass(frozen=True)
class Combination:
    """A term as a combination of the coefficients.

    Attributes
    ----------
    term
    weights : shape (p,)
    """

    term: str
    weights: np.ndarray


@dataclass(frozen=True)
class Fitted:
    """The fit and what the errors come from: influence of each patient, shape (K, p), and least squares' covariance."""

    model: MixedFit
    influence: np.ndarray
    least_squares: np.ndarray

    def std_errors(self, one: Combination) -> tuple[float, float, float]:
        """Of a combination: corrected, REML's, and as if all measurements were independent."""
        k = len(self.influence)
        of_model = float(one.weights @ self.model.covariance @ one.weights)
        of_patients = float(((self.influence @ one.weights) ** 2).sum())
        independent = float(one.weights @ self.least_squares @ one.weights)
        return np.sqrt(max(k / (k - 1) * of_patients, of_model)), np.sqrt(of_model), np.sqrt(independent)


def fit_at_visits(analysis: str, measured: Measured) -> AtVisits:
    """Fit what was measured on the terms, REML with intercepts for the patient and the site within the patient.

    Parameters
    ----------
    analysis : of results.csv
    measured

    Returns
    -------
    AtVisits
        A row a term and method on the scale `mm`, and `change per year`, twelve times that of `months`. By t with K - p
        degrees of freedom below 50 patients.

    Source: see `mixed_reml` and `patient_influence`.
    """
    design = design_matrix(measured.visits, measured.terms)
    used = measured.visits.loc[design.used]
    fit, patient, site = _fit_of(analysis, design, used)
    variances = NO_VARIANCES | {"n_visits": len(used)}
    random = random_intercepts(patient is not None, site is not None)
    try:
        fitted = _fitted(measured, design, used, patient, site)
    except NotFitted as why:
        own = design.problems if len(used) else {}
        rows = [
            replace(fit, method=method).row(term, problem=own.get(term, str(why)))
            for method in (CORRECTED, REML)
            for term in (*design.terms(), CHANGE)
        ]
        return AtVisits(rows, [], variances, design, None, random)
    model = fitted.model
    variances |= {
        "patient_sd_mm": np.sqrt(model.patient_variance),
        "site_sd_mm": np.sqrt(model.site_variance),
        "residual_sd_mm": np.sqrt(model.residual_variance),
    }
    answer = AtVisits([], [], variances, design, model.covariance, random)
    combinations, problems = _combinations(design)
    for method in (CORRECTED, REML):
        _add_rows(answer, replace(fit, method=method), fitted, combinations, problems)
    return answer


def _fit_of(analysis: str, design: Design, used: pd.DataFrame) -> tuple[Fit, np.ndarray | None, np.ndarray | None]:
    """What the rows share, and the patients and sites that the model has an intercept for."""
    n_patients, n_sites = used["patient_id"].nunique(), used["site_id"].nunique()
    patient = used["patient_id"].to_numpy() if n_sites > n_patients else None
    site = used["site_id"].to_numpy() if len(used) > n_sites else None
    df = n_patients - len(design.names) if n_patients < FEW_PATIENTS else None
    fit = Fit(
        analysis=analysis,
        subset="all",
        scale="mm",
        method=CORRECTED,
        n_sites=n_sites,
        n_patients=n_patients,
        df=df if df is not None and df > 0 else None,
        note=joined(
            remark("no_patient_with_two_sites") if patient is None else "",
            remark("no_site_with_two_visits") if site is None else "",
            remark("t_less_coefficients") if df is not None else "",
            *design.notes,
        ),
    )
    return fit, patient, site


def _fitted(measured: Measured, design: Design, used: pd.DataFrame, patient, site) -> Fitted:
    """The fit.

    Raises NotFitted where nothing was measured, or too little.
    """
    if len(measured.visits) == 0:
        raise NotFitted(measured.nowhere)
    if len(used) == 0:
        raise NotFitted(measured.no_complete_case)
    x, y, n_patients = design.matrix, used[measured.value].to_numpy(float), used["patient_id"].nunique()
    if n_patients <= x.shape[1]:
        raise NotFitted(remark("too_few_patients", n_patients=n_patients, n_coefficients=x.shape[1]))
    model = mixed_reml(y, x, patient, site)
    beta, *_ = np.linalg.lstsq(x, y, rcond=None)
    least_squares = np.linalg.inv(x.T @ x) * ((y - x @ beta) ** 2).sum() / (len(y) - x.shape[1])
    influence = patient_influence(model, y, x, used["patient_id"].to_numpy(), used["site_id"].to_numpy())
    return Fitted(model, influence, least_squares)


def _combinations(design: Design) -> tuple[list[Combination], dict[str, str]]:
    """The rows that the fit owes its reader, and those that it cannot give, with the reason."""
    found = [Combination(name, row) for name, row in zip(design.names, np.eye(len(design.names)), strict=True)]
    problems = dict(design.problems)
    if "months" not in design.names:
        return found, problems | {CHANGE: problems.get("months", remark("no_term_months"))}
    slope = MONTHS_A_YEAR * np.eye(len(design.names))[design.names.index("months")]
    return [*found, Combination(CHANGE, slope)], problems


def _add_rows(answer: AtVisits, fit: Fit, fitted: Fitted, combinations, problems) -> None:
    """The rows of a method and their design effects."""
    headline = fit.method == CORRECTED and answer.variances["n_visits"] >= FEWEST_MEASUREMENTS
    clustered = not (np.isnan(fitted.model.patient_variance) and np.isnan(fitted.model.site_variance))
    for one in combinations:
        corrected, of_model, independent = fitted.std_errors(one)
        std_error = corrected if fit.method == CORRECTED else of_model
        row = fit.wald_row(one.term, float(one.weights @ fitted.model.coefficients), std_error)
        answer.rows.append(row | {"headline": headline and not np.isnan(row["estimate"])})
        if clustered or fit.method == CORRECTED:
            answer.effects.extend(fit.design_effect_rows([one.term], [std_error], [independent]))
    answer.rows.extend(fit.row(term, problem=problem) for term, problem in problems.items())
