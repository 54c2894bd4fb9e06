# Limits of agreement, error along the depth, intraclass correlations, Rubin's rules.
source("record.R")
# Peak expiratory flow of 17 people, l/min, first readings of both meters: Bland and Altman 1986, table 1 (from memory).
wright <- c(494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
mini <- c(512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)
e <- wright - mini; n <- length(e); se <- sd(e) * sqrt(1 / n + 1.96^2 / (2 * (n - 1)))
record("pefr", c("bias", "sd"), c(mean(e), sd(e)), c(sd(e) / sqrt(n), NA))
record("pefr", c("low", "high"), mean(e) + c(-1, 1) * 1.96 * sd(e), se)
# Exact intervals of the limits: Carkeet 2015, by the noncentral t.
for (p in c(low = 0.025, high = 0.975)) {
  exact <- qt(c(0.025, 0.975), n - 1, ncp = qnorm(p) * sqrt(n)) * sd(e) / sqrt(n)
  record("pefr_exact", if (p < 0.5) "low" else "high", mean(e) + qnorm(p) * sd(e), lower = mean(e) + exact[1], upper = mean(e) + exact[2])
}
one_way <- function(key, y, g) {
  a <- anova(lm(y ~ factor(g))); ms <- a[["Mean Sq"]]; m <- tabulate(factor(g)); k <- length(m)
  n0 <- (sum(m) - sum(m^2) / sum(m)) / (k - 1)
  # Exact limits (Wald 1940): for the true correlation rho the generalised sum of squares, less that within, has F's law.
  z <- model.matrix(~ 0 + factor(g)); within <- ms[2] * a[["Df"]][2]
  excess <- function(rho, quantile) {
    v <- solve((1 - rho) * diag(length(y)) + rho * tcrossprod(z)); mu <- sum(v %*% y) / sum(v)
    f <- (c(t(y - mu) %*% v %*% (y - mu)) * (1 - rho) - within) / (k - 1) / ms[2]
    log(f) - log(quantile)
  }
  limit <- function(p) uniroot(excess, c(-1 / (max(m) - 1) + 1e-6, 1 - 1e-6), qf(p, k - 1, length(y) - k), tol = 1e-12)$root
  record(key, "icc", (ms[1] - ms[2]) / (ms[1] + (n0 - 1) * ms[2]), lower = limit(0.975), upper = limit(0.025))
  record(key, c("between", "within", "n0"), c(ms, n0))
}
# Six targets rated by four judges: Shrout and Fleiss 1979, table 2 (from memory).
ratings <- c(9, 2, 5, 8, 6, 1, 3, 2, 8, 4, 6, 8, 7, 1, 2, 6, 10, 5, 6, 9, 6, 2, 4, 7)
one_way("shrout_fleiss", ratings, rep(1:6, each = 4))
d <- series()
one_way("series", d$achieved_mm - d$planned_mm, d$patient_id)
one_way("perforation", d$perforation, d$patient_id)
# Zou 2013: total variance of a single difference, patients with any number of sites, and its limits by MOVER.
by_patient <- split(d$achieved_mm - d$planned_mm, d$patient_id)
m <- sapply(by_patient, length); k <- length(m); n <- sum(m)
between <- var(sapply(by_patient, mean))
within <- sum(unlist(lapply(by_patient, function(x) (x - mean(x))^2))) / (n - k)
h <- k / sum(1 / m)
total <- between + (1 - 1 / h) * within
limit <- function(p, sign) total + sign * sqrt((between * (1 - (k - 1) / qchisq(p, k - 1)))^2 +
  ((1 - 1 / h) * within * (1 - (n - k) / qchisq(p, n - k)))^2)
record("total_variance", "total", total, lower = limit(0.975, -1), upper = limit(0.025, 1))
# Error of the last depth on the planned depth, and the same without patients.
suppressPackageStartupMessages(library(nlme))
d$error_mm <- d$achieved_mm - d$planned_mm
b <- summary(lme(error_mm ~ planned_mm, d, random = ~ 1 | patient_id, control = lmeControl(tolerance = 1e-12, msTol = 1e-14, niterEM = 200)))$tTable
record("proportional_bias", rownames(b), b[, 1], b[, 2])
b <- summary(lm(error_mm ~ planned_mm, d))$coefficients
record("proportional_bias_lm", rownames(b), b[, 1], b[, 2])
g <- read.csv("nested_gain.csv")
b <- summary(lm(gain_mm ~ protrusion_mm + grafted + months, g))$coefficients
record("gain_lm", rownames(b), b[, 1], b[, 2])
# How alike two sites of a patient are, and two visits of a site: REML; information of the variance ratios by numDeriv.
suppressPackageStartupMessages(library(lme4))
formula <- gain_mm ~ months + (1 | patient_id) + (1 | site_id)
fit <- lmer(formula, g, control = lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 1e-2, rhoend = 1e-12, maxfun = 1e6)))
deviance_of <- update(fit, devFunOnly = TRUE)
v <- as.data.frame(VarCorr(fit)); v <- setNames(v$vcov, v$grp)
first <- sapply(names(getME(fit, "theta")), function(x) sub("\\..*", "", x))  # the order of the random terms
ratios <- v[first] / v["Residual"]
covariance <- solve(numDeriv::hessian(function(x) deviance_of(sqrt(x)), ratios) / 2)
for (what in list(c("patient", "patient_id"), c("site", "patient_id", "site_id"))) {
  icc <- function(x) sum(x[first %in% what[-1]]) / (1 + sum(x))
  slope <- numDeriv::grad(function(x) qlogis(icc(x)), ratios)
  record("nested_icc", what[1], icc(ratios), sqrt(c(slope %*% covariance %*% slope)))
}
left_out <- sapply(unique(d$patient_id), function(i) {
  s <- d[d$patient_id != i, ]
  ms <- anova(lm(perforation ~ factor(patient_id), s))[["Mean Sq"]]; m <- tabulate(factor(s$patient_id))
  n0 <- (sum(m) - sum(m^2) / sum(m)) / (length(m) - 1)
  atanh((ms[1] - ms[2]) / (ms[1] + (n0 - 1) * ms[2]))
})
k <- length(left_out)
record("perforation", "jackknife z", NA, sqrt((k - 1) / k * sum((left_out - mean(left_out))^2)))
q <- c(1.10, 0.85, 1.32, 0.97, 1.21); u <- c(.09, .11, .08, .10, .095)
pool <- function(topic, ...) { p <- mice::pool.scalar(q, u, ...); record(topic, c("estimate", "variance", "df", "fmi"), c(p$qbar, p$t, p$df, p$fmi)) }
pool("rubin", n = 300, k = 3)
pool("rubin_infinite")
write_rows("agreement.csv", c("mice", "nlme", "lme4"))
