"""How much bone is gained: linear mixed model of the gain at the visits, sites within patients."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import FEW_PATIENTS, NotFitted
from liftseries.estimators.mixed import least_squares_std_error, mixed_reml
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.fitted import REML, fitted_model, random_intercepts, why_not_used
from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table

ANALYSIS = "gain.mixed"
METHOD = "reml"
NO_BONE_HEIGHT = remark("no_visit_with_bone_height")


@dataclass(frozen=True)
class GainEstimates(Estimates):
    """Coefficients of the gain, its scatter, and its course.

    Attributes
    ----------
    variances : one row, `patient_sd_mm, site_sd_mm, residual_sd_mm, n_visits`
        Empty where the model has no such intercept or could not be fitted.
    by_visit : `months, n, mean, sd`
        Gain in mm at the visits nearest to each usual recall, see `gain_by_recall`.
    """

    variances: pd.DataFrame
    by_visit: pd.DataFrame


def fit_gain_mixed(visits: pd.DataFrame, cases: pd.DataFrame, terms: Sequence[str]) -> GainEstimates:
    """Bone gain in mm on the plan's terms, REML with intercepts for the patient and the site within the
    patient.

    Parameters
    ----------
    visits : the contract's visits; `months` may be a term
    cases : one row a site, as `cases()` gives it
    terms : `months` or columns of `cases`

    Returns
    -------
    GainEstimates
        A row a term on the scale `mm`; by t with K - p degrees of freedom below 50 patients.

    Source: see `mixed_reml`.
    """
    gains = gain_at_visits(visits, cases)
    design = design_matrix(gains, terms)
    used = gains.loc[design.used]
    n_patients, n_sites = used["patient_id"].nunique(), used["site_id"].nunique()
    patient = used["patient_id"].to_numpy() if n_sites > n_patients else None
    site = used["site_id"].to_numpy() if len(used) > n_sites else None
    df = n_patients - len(design.names) if n_patients < FEW_PATIENTS else None
    fit = Fit(
        analysis=ANALYSIS,
        subset="all",
        scale="mm",
        method=METHOD,
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
    variances = {
        "patient_sd_mm": np.nan,
        "site_sd_mm": np.nan,
        "residual_sd_mm": np.nan,
        "n_visits": len(used),
    }
    effects, covariance = [], None
    try:
        if len(gains) == 0:
            raise NotFitted(remark("bone_height_not_recorded"))
        if len(used) == 0:
            raise NotFitted(remark("no_complete_case_with_bone_height"))
        if n_patients <= len(design.names):
            raise NotFitted(remark("too_few_patients", n_patients=n_patients, n_coefficients=len(design.names)))
        model = mixed_reml(used["gain_mm"].to_numpy(float), design.matrix, patient, site)
    except NotFitted as why:
        own = design.problems if len(used) else {}
        rows = [fit.row(term, problem=own.get(term, str(why))) for term in design.terms()]
    else:
        rows = [
            fit.wald_row(term, b, se)
            for term, b, se in zip(design.names, model.coefficients, model.std_error, strict=True)
        ]
        rows += [fit.row(term, problem=problem) for term, problem in design.problems.items()]
        covariance = model.covariance
        naive = least_squares_std_error(design.matrix, used["gain_mm"].to_numpy(float))
        if patient is not None or site is not None:
            effects = fit.design_effect_rows(design.names, model.std_error, naive)
        variances |= {
            "patient_sd_mm": np.sqrt(model.patient_variance),
            "site_sd_mm": np.sqrt(model.site_variance),
            "residual_sd_mm": np.sqrt(model.residual_variance),
        }
    random = random_intercepts(patient is not None, site is not None)
    why_not = why_not_used(cases, reasons_of_sites(cases, gains, design.reasons).to_numpy())
    model_left = fitted_model(ANALYSIS, METHOD, "gain_mm", REML, design, why_not, covariance, random=random)
    return GainEstimates(
        rows=results_table(rows),
        left_out=sites_left_out(cases, gains, design.reasons),
        design_effects=results_table(effects),
        variances=pd.DataFrame([variances]),
        by_visit=gain_by_recall(gains),
        fitted=(model_left,),
    )


def gain_by_recall(gains: pd.DataFrame) -> pd.DataFrame:
    """Number, mean and standard deviation of the gain at the visits nearest to each usual recall.

    Recalls: at placement, after six months, then every year; common practice, no source.
    """
    recall = nearest_recall(gains["months"].to_numpy(float))
    by_recall = gains["gain_mm"].astype(float).groupby(recall).agg(n="size", mean="mean", sd="std")
    return by_recall.rename_axis("months").reset_index()


def nearest_recall(months: np.ndarray) -> np.ndarray:
    """The usual recall that each visit lies nearest to, in months; shape (n_visits,)."""
    year = np.floor(months / 12 + 0.5) * 12
    return np.select([months < 3, months < 9, months < 18], [0, 6, 12], year).astype(int)


def sites_left_out(cases: pd.DataFrame, gains: pd.DataFrame, reasons: np.ndarray) -> pd.DataFrame:
    """Sites of which no visit entered the model, each under its first reason."""
    reason = reasons_of_sites(cases, gains, reasons)
    counts = reason[reason != ""].value_counts(sort=False)
    return left_out_table(ANALYSIS, "all", list(counts.items()))


def reasons_of_sites(cases: pd.DataFrame, gains: pd.DataFrame, reasons: np.ndarray) -> pd.Series:
    """Why no visit of a site entered the model, "" where one did; in the order of `cases`.

    Parameters
    ----------
    cases : one row a site
    gains : one row a visit, as `gain_at_visits` gives it
    reasons : shape (n_visits,), why each is not used; "" where it is
    """
    site_id = cases["site_id"].astype(object)
    first_reason = pd.Series(reasons, index=gains["site_id"].astype(object).to_numpy()).groupby(level=0).agg("first")
    with_visit_used = set(gains.loc[reasons == "", "site_id"])
    reason = site_id.map(first_reason).where(site_id.isin(gains["site_id"]), NO_BONE_HEIGHT)
    return reason.mask(site_id.isin(with_visit_used), "")
