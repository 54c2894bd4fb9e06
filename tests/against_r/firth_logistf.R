# Firth's logistic regression by logistf, with profile limits and penalised likelihood ratio p-values. logistf is in no
# Debian package: build it from source, with mice and mgcv.
source("record.R")
library(logistf)
tight <- logistf.control(maxit = 500, gconv = 1e-12, xconv = 1e-12, lconv = 1e-14)
tight_limits <- logistpl.control(maxit = 1000, lconv = 1e-12, xconv = 1e-10)
firth <- function(key, formula, d) {
  f <- logistf(formula, d, control = tight, plcontrol = tight_limits)
  record(key, names(coef(f)), coef(f), sqrt(diag(f$var)), f$ci.lower, f$ci.upper)
  record(key, paste("p", names(coef(f))), f$prob)
  record(key, "penalised log-likelihood", max(f$loglik))
}
d <- series()
d$sep <- as.integer(d$operator == 5 & d$perforation == 0)
firth("series", perforation ~ residual_bone_mm + septa + smoker, d)
firth("series_separated", perforation ~ sep + smoker, d)
write_rows("firth_logistf.csv", "logistf")
