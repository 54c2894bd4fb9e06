"""Our questions put to lifelines and statsmodels, each in that library's own words.

The libraries are imported where they are asked, as they take longer to load than they compute.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import names_in, remark
from liftseries.estimators.intervals import NotFitted
from liftseries.models.shared.complete_cases import hazard_data, perforation_data
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.follow_up import failure_intervals, seen_after_placement
from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.models.survival.interval import FOUND_AT_PLACEMENT, LOG_SHAPE

LIFELINES, STATSMODELS = "lifelines", "statsmodels"
EXACT = {"precision": 1e-12, "r_precision": 1e-14}

Answer = Mapping[str, tuple[float, float]]  # term -> estimate and standard error, NaN where there is none


# ── closed forms ────────────────────────────────────────────────────────────────────────────────────────────


def wilson(ours: pd.DataFrame) -> Answer:
    """The share and, as it has no standard error, half the length of its interval."""
    from statsmodels.stats.proportion import proportion_confint

    answer = {}
    for term, row in ours.iterrows():
        low, high = proportion_confint(int(row["n_events"]), int(row["n_sites"]), method="wilson")
        answer[term] = int(row["n_events"]) / int(row["n_sites"]), (high - low) / 2
    return answer


def kaplan_meier(implants: pd.DataFrame, ours: pd.DataFrame) -> Answer:
    """Survival at our months, by lifelines, which tells no standard error of it."""
    from lifelines import KaplanMeierFitter

    curve = KaplanMeierFitter().fit(implants["months"].to_numpy(float), implants["failed"].to_numpy(bool))
    survival = curve.survival_function_at_times(ours.index.astype(float))
    return {term: (value, np.nan) for term, value in zip(ours.index, survival, strict=True)}


def greenwood(implants: pd.DataFrame, ours: pd.DataFrame) -> Answer:
    """Survival at our months with Greenwood's standard error, by statsmodels."""
    from statsmodels.duration.survfunc import SurvfuncRight

    curve = SurvfuncRight(implants["months"].to_numpy(float), implants["failed"].to_numpy(int))
    return _at(ours, curve.surv_times, curve.surv_prob, curve.surv_prob_se, before=1.0)


def incidence(implants: pd.DataFrame, ours: pd.DataFrame) -> Answer:
    """Incidence of failure at our months, death competing, by statsmodels."""
    from statsmodels.duration.survfunc import CumIncidenceRight

    status = np.where(implants["failed"], 1, np.where(implants["died"], 2, 0))
    curve = CumIncidenceRight(implants["months"].to_numpy(float), status)
    return _at(ours, curve.times, curve.cinc[0], curve.cinc_se[0], before=0.0)


def _at(ours: pd.DataFrame, times: np.ndarray, value: np.ndarray, error: np.ndarray, before: float) -> Answer:
    """A curve of steps at our months."""
    last = np.searchsorted(times, ours.index.astype(float), side="right")
    pairs = zip(np.r_[before, value][last], np.r_[np.nan, error][last], strict=True)
    return dict(zip(ours.index, pairs, strict=True))


# ── models ──────────────────────────────────────────────────────────────────────────────────────────────────


def cox(implants: pd.DataFrame, terms: Sequence[str], ours: pd.DataFrame) -> Answer:
    """Cox model, Efron ties, clustered in patients, by lifelines."""
    from lifelines import CoxPHFitter

    data = hazard_data(implants, terms)
    table = _numbered(data.design.matrix)
    names = list(table)
    table = table.assign(months=data.months, failed=data.failed, patient=pd.factorize(data.patient)[0])
    fit = CoxPHFitter().fit(table, "months", "failed", cluster_col="patient", fit_options=EXACT)
    return _answer(data.design.names, fit.params_.loc[names], fit.standard_errors_.loc[names])


def phreg(implants: pd.DataFrame, terms: Sequence[str], ours: pd.DataFrame) -> Answer:
    """Cox model, Efron ties, clustered in patients, by statsmodels."""
    from statsmodels.duration.hazard_regression import PHReg

    data = hazard_data(implants, terms)
    # Who left before the first failure is in no risk set; statsmodels' robust errors would be NaN with them.
    seen = data.months >= data.months[data.failed].min()
    failed, patient = data.failed[seen].astype(int), pd.factorize(data.patient[seen])[0]
    fit = PHReg(data.months[seen], data.design.matrix[seen], failed, ties="efron").fit(groups=patient)
    return _answer(data.design.names, fit.params, fit.bse)


def weibull(implants: pd.DataFrame, terms: Sequence[str], ours: pd.DataFrame) -> Answer:
    """Accelerated failure time between two visits, by lifelines."""
    from lifelines import WeibullAFTFitter

    tells = seen_after_placement(implants)
    left, right = (limit[tells] for limit in failure_intervals(implants))
    design = hazard_data(implants.loc[tells], terms, intercept=True).design
    table = _numbered(design.matrix[:, 1:])
    names = list(table)
    table = table.assign(left=left[design.used], right=right[design.used])
    table["right"] = table["right"].replace(0.0, FOUND_AT_PLACEMENT)
    fit = WeibullAFTFitter().fit_interval_censoring(table, "left", "right")
    places = [("lambda_", "Intercept"), *(("lambda_", name) for name in names), ("rho_", "Intercept")]
    return _answer((*design.names, LOG_SHAPE), fit.params_.loc[places], fit.standard_errors_.loc[places])


def gee(cases: pd.DataFrame, terms: Sequence[str], ours: pd.DataFrame) -> Answer:
    """Logistic GEE with the working correlation and the covariance that our row names, by statsmodels."""
    from statsmodels.genmod.cov_struct import Exchangeable, Independence
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_estimating_equations import GEE

    data = perforation_data(cases, terms)
    told = names_in(ours["note"].iloc[0])
    correlation = Independence() if "working_independence" in told else Exchangeable()
    patient = pd.factorize(data.patient)[0]
    model = GEE(data.event.astype(float), data.design.matrix, patient, family=Binomial(), cov_struct=correlation)
    fit = model.fit(maxiter=200, ctol=1e-12, cov_type="bias_reduced" if "bias_reduced" in told else "robust")
    return _answer(data.design.names, fit.params, fit.bse)


def mixed(visits: pd.DataFrame, cases: pd.DataFrame, terms: Sequence[str]) -> Answer:
    """REML with intercepts for the patient and the site in the patient, as far as there are both, by statsmodels."""
    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

    gains = gain_at_visits(visits, cases, terms)
    design = design_matrix(gains, terms)
    used = gains.loc[design.used]
    patient, site = (pd.factorize(used[name])[0] for name in ("patient_id", "site_id"))
    n_patients, n_sites = patient.max() + 1, site.max() + 1
    within = None
    if n_patients < n_sites < len(used):
        sites = [np.unique(site[patient == one], return_inverse=True) for one in range(n_patients)]
        names = [[str(name) for name in of_patient] for of_patient, _ in sites]
        within = VCSpec(["site"], [names], [[np.eye(len(of_patient))[which] for of_patient, which in sites]])
    group = patient if n_patients < n_sites else site
    if group.max() + 1 == len(used):
        raise NotFitted(remark("no_site_with_two_visits"))
    gain, ones = used["gain_mm"].to_numpy(float), np.ones((len(used), 1))
    fit = MixedLM(gain, design.matrix, group, exog_re=ones, exog_vc=within).fit(reml=True)
    return _answer(design.names, fit.fe_params, fit.bse_fe)


def _numbered(matrix: np.ndarray) -> pd.DataFrame:
    """Columns under names that no library reads as a formula."""
    return pd.DataFrame(matrix, columns=[f"x{j}" for j in range(matrix.shape[1])])


def _answer(names: Sequence[str], estimates, errors) -> Answer:
    pairs = zip(np.asarray(estimates, float), np.asarray(errors, float), strict=True)
    return dict(zip(names, pairs, strict=True))
