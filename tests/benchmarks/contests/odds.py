"""Models of a perforation: logistic GEE, Firth's logistic regression, risks along the residual height."""

from __future__ import annotations

import numpy as np

from contests.contest import R_PROFILE_LIMITS, Contest, R
from contests.simulated import with_constant


def ours_gee(d):
    from liftseries.estimators.gee import logistic_gee

    x = with_constant(d)
    yield
    fit = logistic_gee(x, d["perforated"] == 1, d["patient"])
    yield fit.coefficients, fit.std_error


def ours_firth(d):
    from liftseries.estimators.firth import firth_logistic

    x = with_constant(d)
    yield
    fit = firth_logistic(x, d["perforated"] == 1, profile=False)
    yield fit.coefficients, ()


def ours_firth_limits(d):
    from liftseries.estimators.firth import firth_logistic

    x = with_constant(d)
    yield
    fit = firth_logistic(x, d["perforated"] == 1)
    yield fit.coefficients[1:], np.r_[fit.conf_low[1:], fit.conf_high[1:]]


def ours_risk_curve(d):
    import pandas as pd

    from liftseries.models.perforation.standardised import RiskModel
    from liftseries.models.perforation.ways import spline_way
    from liftseries.models.shared.complete_cases import perforation_data

    table = pd.DataFrame({name: d[name] for name in ("rbh_mid_mm", "smokes", "guided")})
    table["patient_id"] = d["patient"].astype(int)
    table["perforation"] = np.where(d["perforated"] == 1, "yes", "no")
    data = perforation_data(table, ["rbh_mid_mm", "smokes", "guided"])
    yield
    model = spline_way(data, "rbh_mid_mm").model
    assert isinstance(model, RiskModel), model
    risks = [model.risk(("rbh_mid_mm", height)) for height in np.arange(2.5, 8.6, 0.25)]
    yield [risk.mean for risk in risks], [risk.std_error for risk in risks]


def statsmodels_gee(d):
    import statsmodels.api as sm

    x = with_constant(d)
    yield
    exchangeable, family = sm.cov_struct.Exchangeable(), sm.families.Binomial()
    fit = sm.GEE(d["perforated"], x, groups=d["patient"], family=family, cov_struct=exchangeable).fit(ctol=1e-10)
    yield fit.params, fit.bse


R_GEEGLM = """
library(geepack)
fit <- function() geeglm(perforated ~ rbh_mid_mm + smokes + guided, data = d, family = binomial, id = patient,
                         corstr = "exchangeable", control = geese.control(epsilon = 1e-12, maxit = 100))
numbers <- function(fit) list(coef(fit), summary(fit)$coefficients[, 2])
"""
R_GEE = """
library(gee)
fit <- function() gee(perforated ~ rbh_mid_mm + smokes + guided, data = d, family = binomial, id = patient,
                      corstr = "exchangeable", tol = 1e-13, maxiter = 100)
numbers <- function(fit) list(coef(fit), sqrt(diag(fit$robust.variance)))
"""
R_BRGLM2 = """
library(brglm2)
fit <- function() glm(perforated ~ rbh_mid_mm + smokes + guided, data = d, family = binomial, method = "brglmFit",
                      type = "AS_mean", epsilon = 1e-10)
numbers <- function(fit) list(coef(fit), NULL)
"""
# As R's logistf does it: Newton's steps on the penalised likelihood, a coefficient held; uniroot finds the limits.
R_FIRTH_LIMITS = (
    R_PROFILE_LIMITS
    + """
x <- cbind(1, scale(as.matrix(d[c("rbh_mid_mm", "smokes", "guided")]))); y <- d$perforated; p <- ncol(x)
point <- function(b) {
  pi <- plogis(drop(x %*% b)); w <- pi * (1 - pi); info <- crossprod(x * w, x)
  h <- w * rowSums((x %*% solve(info)) * x)
  list(value = sum(log(ifelse(y == 1, pi, 1 - pi))) + determinant(info)$modulus / 2,
       score = drop(crossprod(x, y - pi + h * (.5 - pi))), info = crossprod(x * (w * (1 + h)), x))
}
top <- function(b, free) repeat {
  at <- point(b); step <- solve(at$info[free, free], at$score[free])
  if (max(abs(step)) < 1e-9) return(list(b = b, value = at$value, info = at$info))
  b[free] <- b[free] + step
}
fit <- function() {
  best <- top(c(qlogis(mean(y)), rep(0, p - 1)), seq_len(p))
  list(b = best$b, limits = profile_limits(best, sqrt(diag(solve(best$info)))))
}
unit <- attr(scale(as.matrix(d[c("rbh_mid_mm", "smokes", "guided")])), "scaled:scale")
numbers <- function(fit) list(fit$b[-1] / unit, as.vector(fit$limits[-1, ] / unit))
"""
)
R_RISK_CURVE = """
library(geepack); library(splines)
fit <- function() {
  knots <- quantile(d$rbh_mid_mm, c(.1, .5, .9))
  basis <- function(v) ns(v, knots = knots[2], Boundary.knots = knots[c(1, 3)])
  b <- basis(d$rbh_mid_mm); d$s1 <- b[, 1]; d$s2 <- b[, 2]
  g <- geeglm(perforated ~ s1 + s2 + smokes + guided, data = d, family = binomial, id = patient,
              corstr = "exchangeable", control = geese.control(epsilon = 1e-10, maxit = 100))
  x <- model.matrix(g); v <- vcov(g); k <- length(unique(d$patient)); m <- length(unique(d$patient[d$perforated == 1]))
  sapply(seq(2.5, 8.5, .25), function(height) {
    line <- basis(height); x[, 2] <- line[1]; x[, 3] <- line[2]
    risk <- plogis(drop(x %*% coef(g))); slope <- colMeans(risk * (1 - risk) * x)
    sums <- rowsum(risk - mean(risk), d$patient, reorder = FALSE) / n
    c(mean(risk), sqrt((sum(slope * (v %*% slope)) + k / (k - 1) * sum(sums^2)) * m / (m - 1)))
  })
}
numbers <- function(fit) list(fit[1, ], fit[2, ])
"""

TERMS = ("patient", "perforated", "rbh_mid_mm", "smokes", "guided")
CONTESTS = {
    "gee": Contest("logistic GEE, exchangeable", TERMS, {
        "ours": ours_gee, "R gee (moments over N - p, as ours)": R(R_GEE),
        "R geeglm (moments over N)": R(R_GEEGLM), "statsmodels GEE": statsmodels_gee,
    }),
    "firth": Contest("Firth's logistic regression", TERMS, {"ours": ours_firth, "R brglm2": R(R_BRGLM2)}, exact=False),
    "firth_limits": Contest("Firth's logistic regression and its profile limits", TERMS, {
        "ours": ours_firth_limits, "R, Newton and uniroot": R(R_FIRTH_LIMITS),
    }, exact=False),
    "risk_curve": Contest("risk curve: spline in a GEE, standardised at 25 heights", TERMS, {
        "ours": ours_risk_curve, "R geeglm, ns, delta method": R(R_RISK_CURVE),
    }, exact=False),
}  # fmt: skip
