# Two-level nested mixed model: makes nested_gain.csv (simulated, unbalanced) and nested_lmer.csv (its fits).
# Run in this folder: Rscript nested_lmer.R
suppressPackageStartupMessages({library(lme4); library(nlme)})
options(digits = 15)
set.seed(407)
n_patients <- 60
patient <- rep(seq_len(n_patients), sample(1:4, n_patients, TRUE, c(.4, .3, .2, .1)))
n_sites <- length(patient)
site_row <- rep(seq_len(n_sites), sample(1:4, n_sites, TRUE))
visit <- ave(site_row, site_row, FUN = seq_along)
protrusion <- round(runif(n_sites, 1, 6), 1)
grafted <- rbinom(n_sites, 1, .4)
months <- c(0, 12, 24, 60)[visit]
gain <- 1 + .5 * protrusion[site_row] + .4 * grafted[site_row] - .01 * months +
  rnorm(n_patients, 0, .6)[patient[site_row]] + rnorm(n_sites, 0, .4)[site_row] + rnorm(length(site_row), 0, .5)
d <- data.frame(patient_id = patient[site_row], site_id = site_row, months, protrusion_mm = protrusion[site_row],
                grafted = grafted[site_row], gain_mm = round(gain, 2))
write.csv(d, "nested_gain.csv", row.names = FALSE, quote = FALSE)

tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 1e-2, rhoend = 1e-12, maxfun = 1e6))
fit <- function(key, formula) {
  m <- lmer(formula, d, REML = TRUE, control = tight)
  # A second pass from the first optimum: bobyqa stops where it started to stall.
  m <- update(m, start = getME(m, "theta"))
  s <- summary(m)$coefficients
  v <- as.data.frame(VarCorr(m))
  rbind(data.frame(key, quantity = paste0("coef:", rownames(s)), value = s[, 1], se = s[, 2]),
        data.frame(key, quantity = c(paste0("sd:", v$grp), "REML loglik"), value = c(v$sdcor, logLik(m)), se = NA))
}
f <- gain_mm ~ protrusion_mm + grafted + months
out <- rbind(fit("both", update(f, . ~ . + (1 | patient_id) + (1 | site_id))),
             fit("patient", update(f, . ~ . + (1 | patient_id))),
             fit("site", update(f, . ~ . + (1 | site_id))))
# The same two-level model by nlme, whose nested syntax says outright that sites lie within patients.
m <- lme(f, d, random = ~ 1 | patient_id / site_id,
         control = lmeControl(tolerance = 1e-12, msTol = 1e-14, niterEM = 200, msMaxIter = 500, returnObject = TRUE))
s <- summary(m)$tTable
v <- suppressWarnings(as.numeric(VarCorr(m)[, "StdDev"])); v <- v[!is.na(v)]
out <- rbind(out, data.frame(key = "both_nlme", quantity = paste0("coef:", rownames(s)), value = s[, 1], se = s[, 2]),
             data.frame(key = "both_nlme", quantity = c("sd:patient_id", "sd:site_id:patient_id", "sd:Residual", "REML loglik"),
                        value = c(v, logLik(m)), se = NA))
con <- file("nested_lmer.csv", "w")
writeLines(paste0("# R ", getRversion(), ", lme4 ", packageVersion("lme4"), ", nlme ", packageVersion("nlme"), "; made by nested_lmer.R"), con)
write.csv(format(out, digits = 14, trim = TRUE), con, row.names = FALSE, quote = FALSE, na = "")
close(con)
