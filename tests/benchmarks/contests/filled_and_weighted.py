"""Missing values imputed, groups made alike by overlap weights, bone gain by a mixed model."""

from __future__ import annotations

import numpy as np

from contests.contest import Contest, R
from contests.simulated import with_constant

N_SETS, ROUNDS = 5, 5


def ours_imputation(d):
    import pandas as pd

    from liftseries.models.shared.imputation import chain_of, completed_sets

    table = pd.DataFrame({"patient_id": d["patient"].astype(int), "guided": d["guided"], "rbh": d["rbh_known_mm"]})
    smokes = np.where(np.isnan(d["smokes_known"]), None, np.where(d["smokes_known"] == 1, "current", "never"))
    table["smokes"] = pd.Categorical(smokes, categories=["never", "current"])
    yield
    outcome = {"perforation": d["perforated"] == 1}
    chain = chain_of(table, ["rbh", "smokes"], ["guided"], outcome, ["smokes", "guided"])
    sets = list(completed_sets(chain, 1, 1, 0, N_SETS, ROUNDS))
    yield [np.mean([one["rbh"].mean() for one in sets])], ()


def ours_overlap(d):
    from liftseries.estimators.balancing import OVERLAP, balancing_weights, weighted_mean
    from liftseries.estimators.clusters import cluster_codes
    from liftseries.estimators.multinomial import multinomial_logistic

    x, group, event = with_constant(d), d["protocol"].astype(int), d["perforated"]
    yield
    weights = balancing_weights(OVERLAP, multinomial_logistic(x, group, 2), group)
    means, explicit = [], np.zeros((len(event), 2))
    for k in (0, 1):
        mean, explicit[group == k, k] = weighted_mean(event[group == k], weights.value[group == k])
        means.append(mean)
    codes, n_patients = cluster_codes(d["patient"])
    influence = weights.through(explicit)
    sums = np.bincount(codes, weights=influence[:, 1] - influence[:, 0], minlength=n_patients)
    yield [means[1] - means[0]], [np.sqrt(n_patients / (n_patients - 1) * sums @ sums)]


def ours_mixed(d):
    from liftseries.estimators.mixed import mixed_reml

    n = len(d["patient"])
    months = np.repeat([12.0, 36.0], n)
    x = np.column_stack([np.vstack([with_constant(d)] * 2), months])
    y, site = np.r_[d["gain_12_mm"], d["gain_36_mm"]], np.tile(np.arange(n), 2)
    patient = np.tile(d["patient"], 2)
    yield
    fit = mixed_reml(y, x, patient, site)
    yield fit.coefficients, fit.std_error


R_MICE = """
library(mice)
t <- data.frame(perforated = d$perforated, guided = d$guided, rbh = d$rbh_known_mm, smokes = factor(d$smokes_known))
fit <- function() mice(t, m = 5, maxit = 5, method = c("", "", "pmm", "logreg"), printFlag = FALSE, seed = 1)
numbers <- function(fit) list(mean(sapply(1:5, function(k) mean(complete(fit, k)$rbh))), NULL)
"""
R_OVERLAP = """
fit <- function() {
  p <- glm(protocol ~ rbh_mid_mm + smokes + guided, data = d, family = binomial, epsilon = 1e-12)
  x <- model.matrix(p); e <- fitted(p); g <- d$protocol; y <- d$perforated; w <- ifelse(g == 1, 1 - e, e)
  beta <- ((g - e) * x) %*% solve(crossprod(x * (e * (1 - e)), x))
  slope <- ifelse(g == 1, -e, 1 - e) * x
  means <- c(weighted.mean(y[g == 0], w[g == 0]), weighted.mean(y[g == 1], w[g == 1]))
  part <- ifelse(g == 1, w * (y - means[2]) / sum(w[g == 1]), -w * (y - means[1]) / sum(w[g == 0]))
  sums <- rowsum(part + drop(beta %*% crossprod(slope, part)), d$patient, reorder = FALSE)
  k <- length(sums); c(means[2] - means[1], sqrt(k / (k - 1) * sum(sums^2)))
}
numbers <- function(fit) list(fit[1], fit[2])
"""
R_LMER = """
suppressMessages(library(lme4))
t <- data.frame(y = c(d$gain_12_mm, d$gain_36_mm), months = rep(c(12, 36), each = n), site = rep(seq_len(n), 2),
                d[c("rbh_mid_mm", "smokes", "guided", "patient")])
fit <- function() lmer(y ~ rbh_mid_mm + smokes + guided + months + (1 | patient) + (1 | site), data = t)
numbers <- function(fit) list(fixef(fit), sqrt(diag(as.matrix(vcov(fit)))))
"""

TERMS = ("patient", "perforated", "rbh_mid_mm", "smokes", "guided")
CONTESTS = {
    "mixed": Contest("mixed model, REML, patient and site, two visits a site",
                     ("patient", "rbh_mid_mm", "smokes", "guided", "gain_12_mm", "gain_36_mm"), {
        "ours": ours_mixed, "R lmer": R(R_LMER),
    }, exact=False),
    "imputation": Contest("imputation, 5 sets of 5 rounds (ours knows of patients, and fits to 10,000 units at most)",
                          ("patient", "perforated", "guided", "rbh_known_mm", "smokes_known"), {
        "ours": ours_imputation, "R mice": R(R_MICE),
    }, exact=False),
    "overlap": Contest("overlap weights, difference with stacked sandwich", (*TERMS, "protocol"), {
        "ours": ours_overlap, "R glm and matrices": R(R_OVERLAP),
    }),
}  # fmt: skip
