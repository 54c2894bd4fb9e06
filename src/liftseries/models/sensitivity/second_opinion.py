"""What other libraries make of the same series: lifelines and statsmodels refit what they can, beside ours.

A library that fails or warns leaves a row that says so, never a failed run. Where its answer is known to differ, the
row says why; what differs beyond that is told as a problem. The libraries are imported here alone, when they are used.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, names_in, remark
from liftseries.estimators.intervals import NotFitted
from liftseries.models.shared.complete_cases import hazard_data, perforation_data
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.follow_up import failure_intervals, seen_after_placement
from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.models.survival.interval import FOUND_AT_PLACEMENT, LOG_SHAPE

COLUMNS = (
    "analysis",
    "method",
    "library",
    "n_compared",
    "estimate_difference",
    "error_difference",
    "reason",
    "problem",
)
LIFELINES, STATSMODELS = "lifelines", "statsmodels"
TOLD = 1e-6  # a smaller relative difference is that of two searches for one number
# By how much estimates may differ, against themselves and their standard error, where nothing is wrong: closed forms,
# Newton's method, and a search that ends early (tests/against_r).
CLOSED, SEARCHED, STOPPED_EARLY = 1e-8, 1e-5, 1e-2

SANDWICH, JACKKNIFE = ("sandwich", "corrected"), ("infinitesimal_jackknife", "corrected")
EXACT = {"precision": 1e-12, "r_precision": 1e-14}

Answer = Mapping[str, tuple[float, float]]  # term -> estimate and standard error


@dataclass(frozen=True)
class Opinion:
    """One library's answer to one question.

    Attributes
    ----------
    analysis, methods : of our rows that it is held against; the first method that has any
    library
    asks : our rows by term -> its answer
    within : see `CLOSED`
    reason : name of the remark that says why the standard errors differ; empty where they do not
    """

    analysis: str
    methods: tuple[str, ...]
    library: str
    asks: Callable[[pd.DataFrame], Answer]
    within: float
    reason: str = ""


def fit_second_opinion(
    cases: pd.DataFrame,
    implants: pd.DataFrame,
    visits: pd.DataFrame,
    perforation_terms: Sequence[str],
    survival_terms: Sequence[str],
    gain_terms: Sequence[str],
    **ours: pd.DataFrame,
) -> pd.DataFrame:
    """How far the libraries' answers lie from ours.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    implants : one row an implant, as `follow_up()` gives it
    visits : the contract's visits
    perforation_terms, survival_terms, gain_terms : as the models of ours were asked for
    ours : rows of results.csv

    Returns
    -------
    one row an opinion, columns COLUMNS
        The largest relative differences of estimate and standard error over the rows compared (`n_compared`), NaN where
        there is nothing to compare; of an interval without a standard error the second is that of its half length.
    """
    rows = pd.concat(list(ours.values()), ignore_index=True)
    opinions = (
        Opinion("perforation.rate", ("wilson",), STATSMODELS, wilson_limits, CLOSED),
        *survival_opinions(implants),
        *hazard_opinions(implants, survival_terms),
        Opinion("perforation.gee", SANDWICH, STATSMODELS, lambda of: gee(cases, perforation_terms, of), SEARCHED),
        Opinion(
            "gain.mixed",
            ("reml", "corrected"),
            STATSMODELS,
            lambda _: mixed(visits, cases, gain_terms),
            STOPPED_EARLY,
            "joint_hessian",
        ),
    )
    return pd.DataFrame([compared(one, rows) for one in opinions], columns=list(COLUMNS))


def compared(opinion: Opinion, rows: pd.DataFrame) -> dict:
    """One row of the table."""
    chosen = rows[rows["analysis"].eq(opinion.analysis) & rows["subset"].eq("all") & rows["estimate"].notna()]
    method = next((one for one in opinion.methods if chosen["method"].eq(one).any()), opinion.methods[0])
    ours = chosen[chosen["method"].eq(method)].set_index("term")
    row = {"analysis": opinion.analysis, "method": method, "library": opinion.library, "n_compared": 0}
    row |= {"estimate_difference": np.nan, "error_difference": np.nan, "reason": "", "problem": ""}
    if ours.empty:
        return row | {"problem": remark("no_estimate_to_compare")}
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        try:
            answer = opinion.asks(ours)
        except NotFitted as why:
            return row | {"problem": str(why)}
        except Exception as error:  # whatever a library raises is its own answer, not a fault of the run
            failed = remark("library_failed", library=opinion.library, error=type(error).__name__)
            return row | {"problem": failed}
    theirs = pd.DataFrame.from_dict(answer, orient="index", columns=["estimate", "std_error"])
    theirs = theirs.reindex(ours.index).astype(float)
    known = np.isfinite(theirs["estimate"].to_numpy())
    if not known.any():
        return row | {"problem": remark("library_failed", library=opinion.library, error="NaN")}
    ours = ours.assign(std_error=ours["std_error"].fillna((ours["conf_high"] - ours["conf_low"]) / 2))
    estimate, error = (relative(theirs[name], ours[name].astype(float)) for name in ("estimate", "std_error"))
    room = opinion.within * (ours["estimate"].abs() + ours["std_error"].fillna(0.0)).astype(float)
    apart = ((theirs["estimate"] - ours["estimate"].astype(float)).abs() > room).any()
    warned = sorted({one.category.__name__ for one in said})
    problem = joined(
        remark("library_differs", library=opinion.library) if apart else "",
        remark("library_warned", library=opinion.library, warnings=warned) if warned else "",
    )
    early = estimate > TOLD and opinion.within == STOPPED_EARLY
    reasons = [
        remark("search_ends_early") if early else "",
        remark(opinion.reason) if opinion.reason and error > TOLD else "",
    ]
    return row | {
        "n_compared": int(known.sum()),
        "estimate_difference": estimate,
        "error_difference": error,
        "reason": joined(*reasons),
        "problem": problem,
    }


def relative(theirs: pd.Series, ours: pd.Series) -> float:
    """The largest difference against ours; NaN where no pair is known."""
    apart = (theirs - ours).abs().to_numpy()
    against = ours.abs().to_numpy()
    share = np.where(apart == 0, 0.0, apart / np.where(against > 0, against, 1.0))
    return float(np.nanmax(share)) if np.isfinite(share).any() else np.nan


# ── closed forms ────────────────────────────────────────────────────────────────────────────────────────────


def wilson_limits(ours: pd.DataFrame) -> Answer:
    """The share and, as it has no standard error, half the length of its interval."""
    from statsmodels.stats.proportion import proportion_confint

    answer = {}
    for term, row in ours.iterrows():
        low, high = proportion_confint(int(row["n_events"]), int(row["n_sites"]), method="wilson")
        answer[term] = int(row["n_events"]) / int(row["n_sites"]), (high - low) / 2
    return answer


def survival_opinions(implants: pd.DataFrame) -> Iterator[Opinion]:
    """Kaplan-Meier by both libraries, Aalen-Johansen by statsmodels: lifelines moves tied times at random."""
    months, failed = implants["months"].to_numpy(float), implants["failed"].to_numpy(bool)
    died = implants["died"].to_numpy(bool)

    def at(ours: pd.DataFrame, times: np.ndarray, value: np.ndarray, error: np.ndarray, start: float) -> Answer:
        last = np.searchsorted(times, ours.index.astype(float), side="right")
        return dict(
            zip(ours.index, zip(np.r_[start, value][last], np.r_[np.nan, error][last], strict=True), strict=True)
        )

    def kaplan_meier(ours: pd.DataFrame) -> Answer:
        from lifelines import KaplanMeierFitter

        survival = KaplanMeierFitter().fit(months, failed).survival_function_at_times(ours.index.astype(float))
        return {term: (value, np.nan) for term, value in zip(ours.index, survival, strict=True)}

    def greenwood(ours: pd.DataFrame) -> Answer:
        from statsmodels.duration.survfunc import SurvfuncRight

        curve = SurvfuncRight(months, failed.astype(int))
        return at(ours, curve.surv_times, curve.surv_prob, curve.surv_prob_se, 1.0)

    def aalen_johansen(ours: pd.DataFrame) -> Answer:
        from statsmodels.duration.survfunc import CumIncidenceRight

        curve = CumIncidenceRight(months, np.where(failed, 1, np.where(died, 2, 0)))
        return at(ours, curve.times, curve.cinc[0], curve.cinc_se[0], 0.0)

    yield Opinion("survival.km", JACKKNIFE, LIFELINES, kaplan_meier, CLOSED)
    yield Opinion("survival.km", JACKKNIFE, STATSMODELS, greenwood, CLOSED, "implants_independent")
    yield Opinion("survival.competing", JACKKNIFE, STATSMODELS, aalen_johansen, CLOSED, "implants_independent")


# ── models ──────────────────────────────────────────────────────────────────────────────────────────────────


def hazard_opinions(implants: pd.DataFrame, terms: Sequence[str]) -> Iterator[Opinion]:
    """Cox by both libraries, Weibull with intervals by lifelines."""
    data = hazard_data(implants, terms)
    names = [f"x{j}" for j in range(len(data.design.names))]

    def cox(ours: pd.DataFrame) -> Answer:
        from lifelines import CoxPHFitter

        table = pd.DataFrame(data.design.matrix, columns=names)
        table = table.assign(months=data.months, failed=data.failed, patient=pd.factorize(data.patient)[0])
        fit = CoxPHFitter().fit(table, "months", "failed", cluster_col="patient", fit_options=EXACT)
        return _answer(data.design.names, fit.params_.loc[names], fit.standard_errors_.loc[names])

    def phreg(ours: pd.DataFrame) -> Answer:
        from statsmodels.duration.hazard_regression import PHReg

        # Who left before the first failure is in no risk set; statsmodels' robust errors would be NaN with them.
        seen = data.months >= data.months[data.failed].min()
        failed, patient = data.failed[seen].astype(int), pd.factorize(data.patient[seen])[0]
        fit = PHReg(data.months[seen], data.design.matrix[seen], failed, ties="efron").fit(groups=patient)
        return _answer(data.design.names, fit.params, fit.bse)

    yield Opinion("survival.cox", SANDWICH, LIFELINES, cox, SEARCHED, "no_efron_weights")
    yield Opinion("survival.cox", SANDWICH, STATSMODELS, phreg, SEARCHED, "no_efron_weights")
    yield Opinion(
        "survival.interval",
        ("weibull",),
        LIFELINES,
        lambda _: weibull(implants, terms),
        STOPPED_EARLY,
        "implants_independent",
    )


def weibull(implants: pd.DataFrame, terms: Sequence[str]) -> Answer:
    """Accelerated failure time between two visits."""
    from lifelines import WeibullAFTFitter

    tells = seen_after_placement(implants)
    left, right = (limit[tells] for limit in failure_intervals(implants))
    design = hazard_data(implants.loc[tells], terms, intercept=True).design
    names = [f"x{j}" for j in range(len(design.names))]
    table = pd.DataFrame(design.matrix, columns=names).drop(columns="x0")
    table = table.assign(left=left[design.used], right=right[design.used])
    table["right"] = table["right"].replace(0.0, FOUND_AT_PLACEMENT)
    fit = WeibullAFTFitter().fit_interval_censoring(table, "left", "right")
    places = [("lambda_", "Intercept"), *(("lambda_", name) for name in names[1:]), ("rho_", "Intercept")]
    return _answer((*design.names, LOG_SHAPE), fit.params_.loc[places], fit.standard_errors_.loc[places])


def gee(cases: pd.DataFrame, terms: Sequence[str], ours: pd.DataFrame) -> Answer:
    """Logistic GEE with the working correlation and the covariance that our row names."""
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
    """REML with intercepts for the patient and the site within the patient, as far as there are both."""
    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

    gains = gain_at_visits(visits, cases)
    design = design_matrix(gains, terms)
    used = gains.loc[design.used]
    patient, site = (pd.factorize(used[name])[0] for name in ("patient_id", "site_id"))
    if site.max() == patient.max():  # no patient has two sites
        group, within = site, None
    else:
        group, within = patient, None
        if len(used) > site.max() + 1:
            sites = [np.unique(site[patient == one], return_inverse=True) for one in range(patient.max() + 1)]
            matrices = [np.eye(len(names))[which] for names, which in sites]
            within = VCSpec(["site"], [[list(map(str, names)) for names, _ in sites]], [matrices])
    if len(used) == group.max() + 1:
        raise NotFitted(remark("no_site_with_two_visits"))
    gain = used["gain_mm"].to_numpy(float)
    fit = MixedLM(gain, design.matrix, group, exog_re=np.ones((len(used), 1)), exog_vc=within).fit(reml=True)
    return _answer(design.names, fit.fe_params, fit.bse_fe)


def _answer(names: Sequence[str], estimates, errors) -> Answer:
    pairs = zip(np.asarray(estimates, float), np.asarray(errors, float), strict=True)
    return dict(zip(names, pairs, strict=True))
