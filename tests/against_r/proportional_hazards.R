# The score test of cox.zph (survival 3), time counted by Kaplan-Meier.
source("record.R")
library(survival)
zph <- function(key, m) {
  z <- cox.zph(m, transform = "km")$table
  record(key, rownames(z), z[, "chisq"], se = z[, "p"])
}
zph("veteran", coxph(Surv(time, status) ~ trt + celltype + karno, veteran))
zph("retinopathy", coxph(Surv(futime, status) ~ trt + age, retinopathy))
d <- series()
zph("series", coxph(Surv(time_months, status == 1) ~ perforation + smoker + residual_bone_mm, d))
r <- cox.zph(coxph(Surv(futime, status) ~ trt + age, retinopathy), transform = "km")
record("residuals", paste("trt", 1:5), r$y[1:5, 1])
record("residuals", paste("age", 1:5), r$y[1:5, 2])
write_rows("proportional_hazards.csv", "survival")
