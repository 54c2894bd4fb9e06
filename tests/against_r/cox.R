# Cox models, Efron and Breslow ties, cluster sandwich and model-based standard errors.
source("record.R")
library(survival)
cox <- function(key, m) {
  s <- summary(m)$coefficients
  interval <- confint(m)
  record(key, rownames(s), s[, "coef"], s[, "robust se"], interval[, 1], interval[, 2])
  record(key, paste("naive", rownames(s)), s[, "se(coef)"])
  record(key, c("log-likelihood null", "log-likelihood"), m$loglik)
}
tight <- coxph.control(eps = 1e-12, iter.max = 50)
cox("retinopathy", coxph(Surv(futime, status) ~ trt + type + trt:type, retinopathy, cluster = id, control = tight))
cox("kidney", coxph(Surv(time, status) ~ age + sex + disease, kidney, cluster = id, control = tight))
d <- series()
cox("series", coxph(Surv(time_months, status == 1) ~ perforation + smoker + residual_bone_mm, d, cluster = patient_id, control = tight))
cox("retinopathy_breslow", coxph(Surv(futime, status) ~ trt + type + trt:type, retinopathy, cluster = id, ties = "breslow",
  control = tight))
cox("kidney_breslow", coxph(Surv(time, status) ~ age + sex + disease, kidney, cluster = id, ties = "breslow", control = tight))
write_rows("cox.csv", "survival")
