# REML linear mixed models with one random intercept, and clustered limits of agreement.
source("record.R")
library(nlme)
tight <- lmeControl(tolerance = 1e-12, msTol = 1e-14, niterEM = 200, msMaxIter = 500, returnObject = TRUE)
fit <- function(key, m) {
  s <- summary(m)$tTable
  sd <- as.numeric(VarCorr(m)[, "StdDev"])
  record(key, rownames(s), s[, 1], s[, 2])
  record(key, c("sd patient", "sd residual", "log-likelihood"), c(sd, logLik(m)))
}
o <- as.data.frame(Orthodont)
o$Subject <- as.character(o$Subject)
fit("orthodont", lme(distance ~ age + Sex, o, random = ~ 1 | Subject, control = tight))
d <- series()
# The variance between patients is zero here; nlme stops near it.
fit("series_gain", lme(bone_gain_mm ~ residual_bone_mm + perforation, d, random = ~ 1 | patient_id, control = tight))
d$error_mm <- d$achieved_mm - d$planned_mm
m <- lme(error_mm ~ 1, d, random = ~ 1 | patient_id, control = tight)
fit("series_depth", m)
total <- sqrt(sum(as.numeric(VarCorr(m)[, "StdDev"])^2))
record("series_depth", c("low", "high"), fixef(m) + c(-1, 1) * 1.96 * total)
# Independent differences: Bland and Altman's SE of a limit, sqrt(s^2 (1/n + 1.96^2 / (2 (n - 1)))).
n <- nrow(d); s <- sd(d$error_mm); z <- 1.96
record("series_depth_unclustered", c("bias", "low", "high"), mean(d$error_mm) + c(0, -1, 1) * z * s,
  c(s / sqrt(n), rep(s * sqrt(1 / n + z^2 / (2 * (n - 1))), 2)))
write_rows("mixed.csv", "nlme")
