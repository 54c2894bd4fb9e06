# Kaplan-Meier with Greenwood and with patient-clustered variance, log-log limits.
source("record.R")
library(survival)
library(MASS)
survival_at <- function(key, fit, times) {
  s <- summary(fit, times = times, extend = TRUE)
  stratum <- if (is.null(s$strata)) "" else paste0(s$strata, " ")
  record(key, paste0(stratum, s$time), s$surv, s$std.err, s$lower, s$upper)
}
six_mp <- subset(gehan, treat == "6-MP")
survival_at("six_mp", survfit(Surv(time, cens) ~ 1, six_mp, conf.type = "log-log"), c(6, 7, 10, 13, 16, 22, 23))
years <- c(12, 24, 36, 48, 60)
survival_at("retinopathy", survfit(Surv(futime, status) ~ 1, retinopathy, conf.type = "log-log"), years)
survival_at("retinopathy_cluster", survfit(Surv(futime, status) ~ 1, retinopathy, cluster = id, conf.type = "log-log"), years)
d <- series()
survival_at("series", survfit(Surv(time_months, status == 1) ~ 1, d, conf.type = "log-log"), years)
survival_at("series_cluster", survfit(Surv(time_months, status == 1) ~ 1, d, cluster = patient_id, conf.type = "log-log"), years)
survival_at("series_smoker_cluster",
  survfit(Surv(time_months, status == 1) ~ smoker, d, cluster = patient_id, conf.type = "log-log"), c(12, 36, 60))
write_rows("kaplan_meier.csv", c("survival", "MASS"))
