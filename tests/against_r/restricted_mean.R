# Restricted mean survival time: summary(survfit, rmean =); clustered from numerical weight derivatives.
source("record.R")
library(survival)
area <- function(time, event, w, tau) {
  s <- survfit(Surv(time, event) ~ 1, weights = w)
  t <- c(0, s$time[s$time < tau], tau)
  sum(diff(t) * c(1, s$surv[s$time < tau]))
}
rmst <- function(key, time, event, tau, id = NULL) {
  s <- summary(survfit(Surv(time, event) ~ 1), rmean = tau)$table
  record(key, "mean", s["rmean"], s["se(rmean)"])
  if (is.null(id)) return(invisible())
  h <- 1e-4
  influence <- sapply(seq_along(time), function(i) {
    up <- down <- rep(1, length(time)); up[i] <- 1 + h; down[i] <- 1 - h
    (area(time, event, up, tau) - area(time, event, down, tau)) / (2 * h)
  })
  record(key, "clustered mean", s["rmean"], sqrt(sum(rowsum(influence, id)^2)))
}
g <- subset(MASS::gehan, treat == "6-MP")
rmst("gehan", g$time, g$cens, 20)
rmst("retinopathy", retinopathy$futime, retinopathy$status, 60, retinopathy$id)
d <- series()
rmst("series", d$time_months, d$status == 1, 60, d$patient_id)
# Difference between two levels that share patients: numerical weight derivatives of the difference itself.
apart <- function(key, time, event, level, tau, id) {
  of <- function(w) area(time[level], event[level], w[level], tau) - area(time[!level], event[!level], w[!level], tau)
  h <- 1e-4
  influence <- sapply(seq_along(time), function(i) {
    up <- down <- rep(1, length(time)); up[i] <- 1 + h; down[i] <- 1 - h
    (of(up) - of(down)) / (2 * h)
  })
  record(key, "difference", of(rep(1, length(time))), sqrt(sum(rowsum(influence, id)^2)))
}
apart("retinopathy", retinopathy$futime, retinopathy$status, retinopathy$trt == 1, 60, retinopathy$id)
apart("series", d$time_months, d$status == 1, d$smoker == 1, 48, d$patient_id)
write_rows("restricted_mean.csv", c("survival", "MASS"))
