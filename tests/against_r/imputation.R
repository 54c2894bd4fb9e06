# Chained equations by mice with 400 sets, sites taken one by one, then a logistic and a Cox model pooled; Nelson-Aalen.
source("record.R")
suppressPackageStartupMessages({library(mice); library(survival)})
d <- series()
d$group <- factor(c("a", "b", "c")[(d$operator - 1) %/% 2 + 1])
d$smoker <- factor(d$smoker); d$failed <- as.integer(d$status == 1)  # 2: the patient died
i <- seq_len(nrow(d))
d$smoker[i %% 4 == 0] <- NA
d$residual_bone_mm[i %% 5 < 2 & d$planned_mm > 5] <- NA
d$group[i %% 7 == 0] <- NA
fit <- survfit(Surv(time_months, failed) ~ 1, d, ctype = 1)
d$hazard <- fit$cumhaz[match(d$time_months, fit$time)]
record("nelson_aalen", fit$time, fit$cumhaz)
M <- 400
pool_rows <- function(key, outcome, model) {
  used <- d[c(outcome, "residual_bone_mm", "smoker", "group", "planned_mm")]
  sets <- mice(used, m = M, maxit = 10, seed = 20260101, printFlag = FALSE,
    method = c(rep("", length(outcome)), "pmm", "logreg", "polyreg", ""))
  found <- lapply(seq_len(M), function(k) model(complete(sets, k)))
  q <- sapply(found, `[[`, "b"); v <- sapply(found, `[[`, "v")
  for (term in rownames(q)) {
    p <- pool.scalar(q[term, ], v[term, ])
    record(key, term, p$qbar, sqrt(p$t))
    record(key, paste(term, c("between", "fmi")), c(p$b, p$fmi))
  }
}
pool_rows("logistic", "perforation", function(s) {
  m <- glm(perforation ~ residual_bone_mm + smoker, binomial, s)
  x <- model.matrix(m); u <- x * (s$perforation - fitted(m)); bread <- vcov(m)
  list(b = coef(m), v = diag(bread %*% crossprod(u) %*% bread))
})
pool_rows("cox", c("failed", "hazard"), function(s) {
  s$time_months <- d$time_months; s$id <- i
  m <- coxph(Surv(time_months, failed) ~ residual_bone_mm + smoker, s, cluster = id)
  list(b = coef(m), v = diag(vcov(m)))
})
write_rows("imputation.csv", c("mice", "survival"))
