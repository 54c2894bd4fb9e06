# The logistic-normal model of units and of published counts: lme4, adaptive quadrature with 25 points.
source("record.R")
library(lme4)
fitted <- function(key, x, n) {
  unit <- factor(seq_along(x))
  m <- glmer(cbind(x, n - x) ~ 1 + (1 | unit), family = binomial, nAGQ = 25,
    control = glmerControl(optimizer = "nloptwrap", optCtrl = list(xtol_abs = 1e-12, ftol_abs = 1e-14, maxeval = 1e5)))
  record(key, "mean", fixef(m), sqrt(vcov(m)[1, 1]))
  record(key, "sd", sqrt(VarCorr(m)$unit[1, 1]))
}
published <- read.csv("../../schemas/published_counts.csv")
fitted("published", published$events, published$denominator)
fitted("units", c(9, 3, 2, 14, 2, 6, 0, 1), c(70, 52, 64, 52, 35, 49, 49, 24))
write_rows("audit.csv", "lme4")
