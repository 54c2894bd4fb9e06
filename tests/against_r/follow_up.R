# Follow-up: reverse Kaplan-Meier and its quartiles, and failures per implant-year, patients as clusters.
source("record.R")
library(survival)
d <- series()
d$failed <- d$status == 1
reverse <- survfit(Surv(d$time_months, d$status == 0) ~ 1, cluster = d$patient_id, conf.type = "log-log")
q <- quantile(reverse, c(0.25, 0.5, 0.75))
record("reverse", c("q1", "median", "q3"), q$quantile, NA, q$lower, q$upper)
# An estimating equation of the rate; geeglm's robust error of its log has no factor for the number of patients.
d$years <- d$time_months / 12
g <- geepack::geeglm(failed ~ 1 + offset(log(years)), family = poisson, id = patient_id, data = d, corstr = "independence")
record("rate", "log", coef(g), sqrt(g$geese$vbeta[1, 1]))
record("rate", "patients with a failure", length(unique(d$patient_id[d$failed])))
write_rows("follow_up.csv", c("survival", "geepack"))
