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
# Clustered (Boos 1992): R's own score residuals of the model that lets each term change with time, on data cut at every
# failure, summed within patients; the fitted coefficients are projected out with R's information of that model.
clustered <- function(key, formula, data, id) {
  m <- coxph(formula, data, x = TRUE)
  p <- length(coef(m))
  data$start <- 0
  data$stop <- m$y[, "time"]
  data$event <- m$y[, "status"]
  data$patient <- id
  s <- survfit(m$y ~ 1)
  at <- s$time[s$n.event > 0]
  g <- 1 - c(1, s$surv[s$n.event > 0])[seq_along(at)]
  g <- g - weighted.mean(g, s$n.event[s$n.event > 0])
  cut <- survSplit(Surv(start, stop, event) ~ ., data, cut = at)
  x <- m$x[match(cut$row, data$row), , drop = FALSE]
  late <- c(g, 0)[findInterval(cut$start, at) + 1]  # after the last failure nothing is at risk
  y <- Surv(cut$start, cut$stop, cut$event)
  both <- coxph(y ~ x + I(x * late), init = c(coef(m), rep(0, p)), iter.max = 0)
  u <- rowsum(residuals(both, "score"), cut$patient)
  info <- solve(vcov(both))
  old <- seq_len(p)
  new <- p + old
  keep <- cbind(-info[new, old, drop = FALSE] %*% solve(info[old, old]), diag(p))
  u <- u %*% t(keep)
  test <- function(columns) {
    d <- colSums(u)[columns]
    c(sum(d * solve(crossprod(u[, columns, drop = FALSE]), d)))
  }
  record(key, c(colnames(m$x), "GLOBAL"), c(sapply(old, test), test(old)))
}
retinopathy$row <- seq_len(nrow(retinopathy))
d$row <- seq_len(nrow(d))
clustered("retinopathy_cluster", Surv(futime, status) ~ trt + age, retinopathy, retinopathy$id)
clustered("series_cluster", Surv(time_months, status == 1) ~ perforation + smoker + residual_bone_mm, d, d$patient_id)
write_rows("proportional_hazards.csv", "survival")
