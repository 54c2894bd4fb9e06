"""Models of the time to failure: Cox, Cox with Firth's penalty, Weibull."""

from __future__ import annotations

import numpy as np

from contests.contest import R_PROFILE_LIMITS, Contest, R


def _terms(d) -> np.ndarray:
    return np.column_stack([d["rbh_mid_mm"], d["smokes"]])


def ours_cox(d):
    from liftseries.estimators.cox import cox_regression

    x = _terms(d)
    yield
    fit = cox_regression(d["days"], d["failed"] == 1, x, d["patient"])
    yield fit.coefficients, fit.std_error


def ours_firth_cox(d):
    from liftseries.estimators.firth_cox import firth_cox

    x = np.column_stack([_terms(d), d["guided"]])
    yield
    fit = firth_cox(d["days"], d["failed"] == 1, x, profile=False)
    yield fit.coefficients, fit.std_error


def ours_firth_cox_limits(d):
    from liftseries.estimators.firth_cox import firth_cox

    x = np.column_stack([_terms(d), d["guided"]])
    yield
    fit = firth_cox(d["days"], d["failed"] == 1, x)
    yield fit.coefficients, np.r_[fit.conf_low, fit.conf_high]


def ours_weibull(d):
    from liftseries.estimators.weibull import weibull_interval

    tells = (d["interval_left"] > 0) | np.isfinite(d["interval_right"])
    left, right, patient = (d[name][tells] for name in ("interval_left", "interval_right", "patient"))
    x = np.column_stack([np.ones(len(left)), _terms(d)[tells]])
    yield
    fit = weibull_interval(left, right, x, patient)
    yield fit.parameters, fit.naive_std_error


def lifelines_cox(d):
    import pandas as pd
    from lifelines import CoxPHFitter

    table = pd.DataFrame({name: d[name] for name in ("days", "failed", "patient", "rbh_mid_mm", "smokes")})
    yield
    fit = CoxPHFitter().fit(table, "days", "failed", cluster_col="patient", fit_options={"precision": 1e-12})
    yield fit.params_.to_numpy(), fit.standard_errors_.to_numpy()


def statsmodels_cox(d):
    from statsmodels.duration.hazard_regression import PHReg

    x = _terms(d)
    yield
    fit = PHReg(d["days"], x, status=d["failed"], ties="efron").fit(groups=d["patient"])
    yield fit.params, fit.bse


R_COX = """
library(survival)
fit <- function() coxph(Surv(days, failed) ~ rbh_mid_mm + smokes, data = d, ties = "efron", cluster = patient,
                        control = coxph.control(eps = 1e-13, iter.max = 50))
numbers <- function(fit) list(coef(fit), sqrt(diag(vcov(fit))))
"""
# Half the log determinant of coxph's information is added to its likelihood; optim climbs, uniroot finds the limits.
R_PENALISED = """
library(survival)
x <- scale(as.matrix(d[c("rbh_mid_mm", "smokes", "guided")])); y <- Surv(d$days, d$failed); p <- ncol(x)
at <- function(b) coxph.fit(x, y, NULL, NULL, b, coxph.control(iter.max = 0), NULL, "efron", NULL, resid = FALSE)
value <- function(b) { a <- at(b); a$loglik[2] - determinant(a$var)$modulus / 2 }
top <- function(b, free) {
  found <- optim(b[free], function(v) { b[free] <- v; value(b) }, method = "BFGS",
                 control = list(fnscale = -1, reltol = 1e-14))
  b[free] <- found$par; list(b = b, value = found$value)
}
estimate <- function() top(rep(0, p), seq_len(p))
unit <- attr(x, "scaled:scale")
"""
R_FIRTH_COX = (
    R_PENALISED
    + """
fit <- function() { best <- estimate(); best$se <- sqrt(diag(at(best$b)$var)); best }
numbers <- function(fit) list(fit$b / unit, fit$se / unit)
"""
)
R_FIRTH_COX_LIMITS = (
    R_PENALISED
    + R_PROFILE_LIMITS
    + """
fit <- function() { best <- estimate(); list(b = best$b, limits = profile_limits(best, sqrt(diag(at(best$b)$var)))) }
numbers <- function(fit) list(fit$b / unit, as.vector(fit$limits / unit))
"""
)
R_WEIBULL = """
library(survival)
d <- d[d$interval_left > 0 | is.finite(d$interval_right), ]
d$l <- ifelse(d$interval_left > 0, d$interval_left, NA)
d$r <- ifelse(is.finite(d$interval_right), d$interval_right, NA)
fit <- function() survreg(Surv(l, r, type = "interval2") ~ rbh_mid_mm + smokes, data = d, dist = "weibull",
                          control = survreg.control(rel.tolerance = 1e-13, maxiter = 100))
numbers <- function(fit) list(c(coef(fit), -log(fit$scale)), sqrt(diag(vcov(fit))))
"""

TERMS = ("patient", "days", "failed", "rbh_mid_mm", "smokes")
CONTESTS = {
    "cox": Contest("Cox, Efron ties, clustered sandwich", TERMS, {
        "ours": ours_cox, "R coxph(cluster=)": R(R_COX),
        "lifelines cluster_col": lifelines_cox, "statsmodels PHReg groups": statsmodels_cox,
    }),
    "firth_cox": Contest("Cox with Firth's penalty, 3 terms", (*TERMS, "guided"), {
        "ours": ours_firth_cox, "R coxph.fit and optim": R(R_FIRTH_COX),
    }, exact=False),
    "firth_cox_limits": Contest("Cox with Firth's penalty and its profile limits", (*TERMS, "guided"), {
        "ours": ours_firth_cox_limits, "R coxph.fit, optim and uniroot": R(R_FIRTH_COX_LIMITS),
    }, exact=False),
    "weibull": Contest("Weibull, interval-censored (ours with the clustered sandwich)",
                       (*TERMS, "interval_left", "interval_right"), {
        "ours": ours_weibull, "R survreg, no cluster": R(R_WEIBULL),
    }, exact=False),
}  # fmt: skip
