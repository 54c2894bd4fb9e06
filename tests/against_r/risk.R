# A GEE with a restricted cubic spline (Hmisc's basis), standardised risks by hand: delta method on the robust covariance
# plus the patients' own variance with K / (K - 1).
source("record.R")
suppressPackageStartupMessages({library(gee); library(Hmisc)})
d <- series()
knots <- quantile(d$residual_bone_mm, c(0.1, 0.5, 0.9))
record("spline", paste("knot", 1:3), knots)
basis <- function(x) rcspline.eval(x, knots = knots, inclx = TRUE)
grid <- c(2, 4, 6, 8)
record("spline", paste("bent", grid), basis(grid)[, 2])
x <- cbind(1, basis(d$residual_bone_mm), d$smoker)
capture.output(suppressMessages(m <- gee(d$perforation ~ x - 1, id = d$patient_id, family = binomial,
  corstr = "exchangeable", tol = 1e-13, maxiter = 1000)))
k <- length(unique(d$patient_id))
standardised <- function(rows) {
  p <- plogis(as.vector(rows %*% coef(m)))
  g <- colMeans(rows * p * (1 - p))
  sums <- rowsum(p - mean(p), d$patient_id) / length(p)
  c(mean(p), sqrt(g %*% m$robust.variance %*% g + k / (k - 1) * sum(sums^2)))
}
for (mm in grid) {
  b <- basis(rep(mm, 2))[1, ]
  r <- standardised(cbind(1, b[1], b[2], d$smoker))
  record("spline", paste("risk", mm), r[1], r[2])
}
record("spline", "bend", coef(m)[3], sqrt(diag(m$robust.variance))[3])
# Difference by smoking
both <- lapply(0:1, function(s) cbind(1, basis(d$residual_bone_mm), s))
p <- lapply(both, function(r) plogis(as.vector(r %*% coef(m))))
g <- colMeans(both[[2]] * p[[2]] * (1 - p[[2]])) - colMeans(both[[1]] * p[[1]] * (1 - p[[1]]))
diff <- p[[2]] - p[[1]]
sums <- rowsum(diff - mean(diff), d$patient_id) / length(diff)
record("spline", "difference", mean(diff), sqrt(g %*% m$robust.variance %*% g + k / (k - 1) * sum(sums^2)))
# Discrimination and calibration of a plain logistic model
glm1 <- glm(perforation ~ residual_bone_mm + septa + smoker, binomial, d, epsilon = 1e-14)
pr <- fitted(glm1)
record("prediction", "c", somers2(pr, d$perforation)["C"])
score <- pr + (d$patient_id %% 5 - 2) / 50  # a poorer score, so that calibration has something to find
score <- qlogis(pmin(pmax(score, 0.001), 0.999))
record("prediction", "score c", somers2(score, d$perforation)["C"])
record("prediction", "intercept", coef(glm(d$perforation ~ offset(score), family = binomial, epsilon = 1e-14))[1])
record("prediction", "slope", coef(glm(d$perforation ~ score, family = binomial, epsilon = 1e-14))[2])
write_rows("risk.csv", c("gee", "Hmisc"))
