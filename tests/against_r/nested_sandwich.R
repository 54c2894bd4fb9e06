# The patient-clustered sandwich (CR0) of lme4's fits of nested_gain.csv, with the full covariance matrix.
# Run in this folder: Rscript nested_sandwich.R
suppressPackageStartupMessages(library(lme4))
options(digits = 15)
d <- read.csv("nested_gain.csv")
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 1e-2, rhoend = 1e-12, maxfun = 1e6))
fit <- function(key, formula) {
  m <- lmer(formula, d, REML = TRUE, control = tight)
  m <- update(m, start = getME(m, "theta"))
  x <- getME(m, "X"); r <- d$gain_mm - x %*% fixef(m)
  z <- as.matrix(getME(m, "Z")); l <- as.matrix(getME(m, "Lambda"))
  v <- sigma(m)^2 * (z %*% l %*% t(l) %*% t(z) + diag(nrow(d)))
  w <- solve(v)
  bread <- solve(t(x) %*% w %*% x)
  meat <- Reduce(`+`, lapply(split(seq_len(nrow(d)), d$patient_id), function(i) {
    s <- t(x[i, , drop = FALSE]) %*% solve(v[i, i]) %*% r[i]
    s %*% t(s)
  }))
  data.frame(key, quantity = paste0("se:", colnames(x)), value = sqrt(diag(bread %*% meat %*% bread)))
}
f <- gain_mm ~ protrusion_mm + grafted + months
out <- rbind(fit("both", update(f, . ~ . + (1 | patient_id) + (1 | site_id))),
             fit("patient", update(f, . ~ . + (1 | patient_id))),
             fit("site", update(f, . ~ . + (1 | site_id))))
con <- file("nested_sandwich.csv", "w")
writeLines(paste0("# R ", getRversion(), ", lme4 ", packageVersion("lme4"), "; made by nested_sandwich.R"), con)
write.csv(format(out, digits = 14, trim = TRUE), con, row.names = FALSE, quote = FALSE)
close(con)
