# Actuarial life table, yearly intervals [0, 12), [12, 24) ..., the last one open.
source("record.R")
library(survival)
library(KMsurv)
life_table <- function(key, time, failed, cuts) {
  interval <- cut(time, c(cuts, Inf), right = FALSE)
  x <- lifetab(c(cuts, NA), length(time), as.vector(table(interval[!failed])), as.vector(table(interval[failed])))
  record(key, paste("survival", cuts), x$surv, x$se.surv)
  record(key, paste("effective", cuts), x$nrisk)
}
cuts <- c(0, 12, 24, 36, 48, 60)
life_table("retinopathy", retinopathy$futime, retinopathy$status == 1, cuts)
d <- series()
life_table("series", d$time_months, d$status == 1, cuts)
# With censoring only after the last cut, survival is a plain proportion and its variance binomial.
time <- c(3, 3, 7, 15, 20, 30, 40, 40, 40)
life_table("proportion", time, time < 40, c(0, 12, 24, 36))
write_rows("life_table.csv", c("KMsurv", "survival"))
