# Cumulative incidence of failure with death competing. Without clusters: survfit of a multi-state factor, its standard
# error the infinitesimal jackknife. R 4.2's survfit ignores cluster= there; so each implant's influence is the numerical
# derivative of the curve by its weight, summed within patients.
source("record.R")
library(survival)
curve_at <- function(time, state, w, at) {
  fit <- survfit(Surv(time, state) ~ 1, weights = w)
  s <- summary(fit, times = at, extend = TRUE)
  s$pstate[, 2:3]
}
one <- function(key, time, status, id, at) {
  state <- factor(status, 0:2, c("censored", "failure", "death"))
  s <- summary(survfit(Surv(time, state) ~ 1), times = at, extend = TRUE)
  record(key, paste("failure", at), s$pstate[, 2], s$std.err[, 2])
  record(key, paste("death", at), s$pstate[, 3], s$std.err[, 3])
  if (is.null(id)) return(invisible())
  h <- 1e-4
  w <- rep(1, length(time))
  influence <- t(sapply(seq_along(time), function(i) {
    up <- w; up[i] <- 1 + h
    down <- w; down[i] <- 1 - h
    (curve_at(time, state, up, at)[, 1] - curve_at(time, state, down, at)[, 1]) / (2 * h)
  }))
  record(key, paste("clustered failure", at), s$pstate[, 2], sqrt(colSums(rowsum(influence, id)^2)))
}
d <- series()
one("series", d$time_months, d$status, d$patient_id, c(12, 24, 36, 48, 60))
m <- mgus2
months <- with(m, ifelse(pstat == 0, futime, ptime))
one("mgus", months, with(m, ifelse(pstat == 0, 2 * death, 1)), NULL, c(60, 120, 240, 360))
write_rows("competing.csv", "survival")
