"""Curves of survival and of competing events: Kaplan-Meier, Aalen-Johansen, Turnbull."""

from __future__ import annotations

import numpy as np

from contests.contest import Contest, R

AT_DAYS = (365.0, 1096.0, 1826.0)
AT_MONTHS = (13.0, 37.0, 61.0)  # visits are yearly: by then the innermost intervals of a year are over


def ours_km(d):
    from liftseries.estimators.kaplan_meier import kaplan_meier

    yield
    fit = kaplan_meier(d["days"], d["failed"] == 1, d["patient"])
    yield fit.at(AT_DAYS)


def ours_aj(d):
    from liftseries.estimators.aalen_johansen import aalen_johansen

    yield
    fit = aalen_johansen(d["days"], d["failed"] == 1, d["died"] == 1, d["patient"])
    yield fit.at(AT_DAYS)[:2]


def ours_turnbull(d):
    from liftseries.estimators.turnbull import innermost, turnbull

    tells = (d["interval_left"] > 0) | np.isfinite(d["interval_right"])
    left, right = d["interval_left"][tells], d["interval_right"][tells]
    yield
    intervals = innermost(left, right)
    fit = turnbull(intervals, np.bincount(intervals.which)[None, :])
    yield [fit.mass[0, fit.right <= month].sum() for month in AT_MONTHS], ()


def lifelines_km(d):
    from lifelines import KaplanMeierFitter

    yield
    fit = KaplanMeierFitter().fit(d["days"], d["failed"])
    yield fit.survival_function_at_times(AT_DAYS).to_numpy(), ()


def lifelines_aj(d):
    from lifelines import AalenJohansenFitter

    state = d["failed"] + 2 * d["died"]
    yield
    fit = AalenJohansenFitter(seed=1).fit(d["days"], state, event_of_interest=1)
    yield fit.cumulative_density_.iloc[:, 0].asof(list(AT_DAYS)).to_numpy(), ()


def statsmodels_km(d):
    from statsmodels.duration.survfunc import SurvfuncRight

    yield
    fit = SurvfuncRight(d["days"], d["failed"])
    step = np.searchsorted(fit.surv_times, AT_DAYS, side="right") - 1
    yield fit.surv_prob[step], ()


def statsmodels_aj(d):
    from statsmodels.duration.survfunc import CumIncidenceRight

    state = d["failed"] + 2 * d["died"]
    yield
    fit = CumIncidenceRight(d["days"], state)
    step = np.searchsorted(fit.times, AT_DAYS, side="right") - 1
    yield fit.cinc[0][step], ()


R_KM = """
library(survival)
fit <- function() survfit(Surv(days, failed) ~ 1, data = d, cluster = patient)
numbers <- function(fit) { s <- summary(fit, times = c(365, 1096, 1826)); list(s$surv, s$std.err) }
"""
R_AJ = """
library(survival)
d$state <- factor(d$failed + 2 * d$died, 0:2); d$row <- seq_len(n)
fit <- function() survfit(Surv(days, state) ~ 1, data = d, id = row)
numbers <- function(fit) list(summary(fit, times = c(365, 1096, 1826))$pstate[, 2], NULL)
"""
R_INTERVALS = """
d <- d[d$interval_left > 0 | is.finite(d$interval_right), ]
"""
R_TURNBULL = (
    R_INTERVALS
    + """
library(survival)
d$l <- d$interval_left; d$r <- ifelse(is.finite(d$interval_right), d$interval_right, NA)
fit <- function() survfit(Surv(l, r, type = "interval2") ~ 1, data = d)
numbers <- function(fit) list(1 - summary(fit, times = c(13, 37, 61))$surv, NULL)
"""
)
R_NPSURV = (
    R_INTERVALS
    + """
library(npsurv)
intervals <- cbind(d$interval_left, d$interval_right)
fit <- function() npsurv(intervals)
numbers <- function(fit) list(sapply(c(13, 37, 61), function(t) sum(fit$f$p[fit$f$right <= t])), NULL)
"""
)

CONTESTS = {
    "km": Contest("Kaplan-Meier, clustered", ("patient", "days", "failed"), {
        "ours": ours_km, "R survfit(cluster=)": R(R_KM),
        "lifelines, no cluster": lifelines_km, "statsmodels, no cluster": statsmodels_km,
    }),
    "aj": Contest("Aalen-Johansen, clustered", ("patient", "days", "failed", "died"), {
        "ours": ours_aj, "R survfit, no cluster": R(R_AJ),
        "lifelines, no cluster": lifelines_aj, "statsmodels, no cluster": statsmodels_aj,
    }),
    "turnbull": Contest("Turnbull, no interval", ("interval_left", "interval_right"), {
        "ours": ours_turnbull, "R npsurv": R(R_NPSURV), "R survfit(interval2), stops early": R(R_TURNBULL),
    }, exact=False),
}  # fmt: skip
