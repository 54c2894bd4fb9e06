"""Bias and limits of agreement of differences that share patients: of depths with the plan, of readings with the hole.

`sites` takes the mean over the differences, so that a patient with many counts as many times; `reml` stands beside it.
The limits quoted are those of `sites_effective_df`: the same limits and errors, with t on as many degrees of freedom as
the patients that carry the error come to. On K - 1 they hold the truth too seldom where few patients have many sites
(tests/benchmarks/coverage.py).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liftseries.base.remarks import joined, remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import CONF_LEVEL, FEW_PATIENTS, NotFitted, critical_value
from liftseries.estimators.mixed import mixed_reml
from liftseries.estimators.variance_components import total_variance_limits
from liftseries.models.shared.results import NO_STD_ERROR, Fit, warned

SITES, EFFECTIVE, REML = "sites", "sites_effective_df", "reml"
TERMS = ("bias", "low", "high")
LIMITS_AT = 1.96  # limits hold 95 % of sites: so many standard deviations on either side, as the contract rounds it


def limits_of_agreement(
    analysis: str, difference_mm: np.ndarray, patient: np.ndarray, n_sites: int, none: str
) -> tuple[list[dict], list[dict]]:
    """The rows of an analysis by both methods, and their design effects.

    Parameters
    ----------
    analysis
    difference_mm, patient : shape (n,)
    n_sites : of how many sites the differences are
    none : the problem where there are no differences, as a remark
    """
    rows, effects = [], []
    for method, estimate in ((SITES, _by_sites), (REML, _by_reml)):
        fit = Fit(
            analysis=analysis,
            subset="all",
            scale="mm",
            method=method,
            n_sites=n_sites,
            n_patients=len(np.unique(cluster_codes(patient)[0])),
        )
        try:
            if not len(difference_mm):
                raise NotFitted(none)
            if fit.n_patients < 2:
                raise NotFitted(remark("one_patient"))
            found, of_clustering = estimate(fit, difference_mm, patient)
        except NotFitted as why:
            rows += [fit.row(term, problem=str(why)) for term in TERMS]
            if method == SITES:
                rows += [replace(fit, method=EFFECTIVE).row(term, problem=str(why)) for term in TERMS[1:]]
        else:
            rows, effects = rows + found, effects + of_clustering
    return rows, effects


def _by_sites(fit: Fit, d: np.ndarray, patient: np.ndarray) -> tuple[list[dict], list[dict]]:
    """Mean over the sites, variance K / (K - 1) Σ_k (Σ (d - bias))² / n²; limits by the patient jackknife; t(K - 1).

    Source: the linearised mean of clusters of unequal size, Cochran 1977, Sampling Techniques, section 6.3 (from
    memory); limits as Bland and Altman 1999, doi:10.1177/096228029900800204.
    """
    codes, k = cluster_codes(patient)
    n, bias = len(d), float(d.mean())
    size, total = np.bincount(codes), np.bincount(codes, d - bias)
    fit = replace(fit, df=k - 1)
    se = float(np.sqrt(k / (k - 1) * (total**2).sum()) / n)
    rows = [fit.wald_row("bias", bias, se)]
    sd = float(d.std(ddof=1))
    if (n - size < 2).any():
        why = remark("too_few_patients_to_leave_out", n_patients=k)
        limits, limit_se = (
            [replace(fit, method=m).row(t, problem=why) for m in (SITES, EFFECTIVE) for t in TERMS[1:]],
            np.zeros(2),
        )
    else:
        left_bias = -total / (n - size)  # less the bias of all
        squares = np.bincount(codes, (d - bias) ** 2)
        left_sd = np.sqrt(np.maximum((squares.sum() - squares - (n - size) * left_bias**2) / (n - size - 1), 0))
        left = left_bias + np.outer([-LIMITS_AT, LIMITS_AT], left_sd)
        squared = (left - left.mean(axis=1, keepdims=True)) ** 2
        limit_se = np.sqrt((k - 1) / k * squared.sum(axis=1))
        ends = list(zip(TERMS[1:], (bias - LIMITS_AT * sd, bias + LIMITS_AT * sd), limit_se, strict=True))
        limits = [fit.wald_row(term, limit, float(error), p_value=False) for term, limit, error in ends]
        limits += [
            replace(fit, method=EFFECTIVE, df=df).wald_row(term, limit, float(error), p_value=False)
            for (term, limit, error), df in zip(ends, effective_df(squared), strict=True)
        ]
    headline = {("bias", SITES), ("low", EFFECTIVE), ("high", EFFECTIVE)}
    rows = [
        {**row, "headline": not row["problem"] and (row["term"], row["method"]) in headline} for row in (*rows, *limits)
    ]
    clustered = n > k and se > NO_STD_ERROR
    effects = fit.design_effect_rows(TERMS, (se, *limit_se), _naive(sd, n)) if clustered else []
    return warned(rows, effects), effects


def effective_df(squared: np.ndarray) -> np.ndarray:
    """Degrees of freedom of a jackknife's variance: of as many patients as carry it, 1 to K - 1.

    By moments, as Satterthwaite's: 2 (Σ u)² over the variance of Σ u, where each u is about a squared normal value.

    Parameters
    ----------
    squared : shape (n_estimates, K), u: the squared deviation of each estimate without a patient from their mean

    Source: Satterthwaite 1946, doi:10.2307/3002019; with E u² = 3 (E u)² of a normal value.
    """
    total, fourth = squared.sum(axis=1), (squared**2).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        df = 3 * total**2 / fourth - 2
    return np.clip(np.nan_to_num(df, nan=1.0), 1.0, squared.shape[1] - 1.0)


def _by_reml(fit: Fit, d: np.ndarray, patient: np.ndarray) -> tuple[list[dict], list[dict]]:
    """Mixed model with an intercept for the patient; limits = bias ± 1.96 √(between + within variance).

    The interval of a limit puts those of the bias and of the total SD together (MOVER); it reaches further out than in,
    as an SD is less sure upwards. The delta method's, even on both sides, misses a limit that lies further out too
    often. `std_error` is the delta method's, SE² = SE(bias)² + 1.96² SE(total SD)². Where the variance between
    patients is estimated as zero no such expansion exists; the total SD then has the standard error of K - 1
    independent values, as if each patient counted once, and `note` says so.

    Source: Bland and Altman 1999, doi:10.1177/096228029900800204, and 2007, doi:10.1080/10543400701329422
    (repeated measurements); variances by `mixed_reml`, intervals of the limits as Zou 2013,
    doi:10.1177/0962280211402548, about them (see `total_variance_limits`).
    """
    n, k = len(d), fit.n_patients
    clustered, few = n > k, k < FEW_PATIENTS
    note = joined("" if clustered else remark("no_patient_with_two_sites"), remark("t_less_one") if few else "")
    fit = replace(fit, df=k - 1 if few else None, note=note)
    model = mixed_reml(d, np.ones((n, 1)), patient if clustered else None)
    bias, se = float(model.coefficients[0]), float(model.std_error[0])
    sd = np.sqrt(model.total_variance)
    log_se = model.total_variance_log_se
    if not np.isfinite(log_se):
        log_se = np.sqrt(2 / (k - 1))
        fit = replace(fit, note=joined(fit.note, remark("variance_between_patients_zero")))
    limit_se = np.hypot(se, LIMITS_AT * sd / 2 * log_se)
    least, most = (LIMITS_AT * sd * np.sqrt(factor) for factor in total_variance_limits(d, patient))
    inwards, outwards = (np.hypot(critical_value(fit.df) * se, LIMITS_AT * sd - end) for end in (least, most))
    limits = (
        ("low", bias - LIMITS_AT * sd, outwards, inwards),
        ("high", bias + LIMITS_AT * sd, inwards, outwards),
    )
    rows = [
        fit.wald_row("bias", bias, se),
        *(
            fit.row(term, limit, limit_se, conf_low=limit - below, conf_high=limit + above, conf_level=CONF_LEVEL)
            for term, limit, below, above in limits
        ),
    ]
    told = clustered and se > NO_STD_ERROR
    return rows, fit.design_effect_rows(TERMS, (se, limit_se, limit_se), _naive(sd, n)) if told else []


def _naive(sd: float, n: int) -> list[float]:
    """Standard errors of bias and limits as if all differences were independent."""
    limit = sd * np.sqrt(1 / n + LIMITS_AT**2 / (2 * (n - 1)))
    return [sd / np.sqrt(n), limit, limit]
