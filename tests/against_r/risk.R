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
# Difference by smoking, as a contrast of the plan: the measure along a straight line
capture.output(suppressMessages(m <- gee(perforation ~ residual_bone_mm + smoker, id = patient_id, data = d,
  family = binomial, corstr = "exchangeable", tol = 1e-13, maxiter = 1000)))
both <- lapply(0:1, function(s) cbind(1, d$residual_bone_mm, s))
p <- lapply(both, function(r) plogis(as.vector(r %*% coef(m))))
g <- colMeans(both[[2]] * p[[2]] * (1 - p[[2]])) - colMeans(both[[1]] * p[[1]] * (1 - p[[1]]))
diff <- p[[2]] - p[[1]]
sums <- rowsum(diff - mean(diff), d$patient_id) / length(diff)
record("line", "difference", mean(diff), sqrt(g %*% m$robust.variance %*% g + k / (k - 1) * sum(sums^2)))
# Discrimination and calibration of a plain logistic model
glm1 <- glm(perforation ~ residual_bone_mm + septa + smoker, binomial, d, epsilon = 1e-14)
pr <- fitted(glm1)
record("prediction", "c", somers2(pr, d$perforation)["C"])
score <- pr + (d$patient_id %% 5 - 2) / 50  # a poorer score, so that calibration has something to find
score <- qlogis(pmin(pmax(score, 0.001), 0.999))
# Patient-clustered standard errors written out: K / (K - 1) sandwich; Obuchowski 1997 over all pairs of sites
clustered <- function(fit) {
  p <- fitted(fit)
  bread <- solve(crossprod(model.matrix(fit) * sqrt(p * (1 - p))))  # vcov() weighs as of the step before the last
  sums <- rowsum(model.matrix(fit) * (d$perforation - p), d$patient_id)
  sqrt(diag(bread %*% crossprod(sums) %*% bread) * k / (k - 1))
}
obuchowski <- function(score, event, id) {
  pairs <- outer(score[event], score[!event], function(a, b) (a > b) + (a == b) / 2)
  auc <- mean(pairs)
  of <- function(value, kind) { x <- tapply(value, factor(id[kind], levels = unique(id)), sum); ifelse(is.na(x), 0, x) }
  x <- of(rowMeans(pairs) - auc, event); y <- of(colMeans(pairs) - auc, !event)
  n <- function(kind) length(unique(id[kind]))
  s10 <- n(event) / ((n(event) - 1) * sum(event)) * sum(x^2)
  s01 <- n(!event) / ((n(!event) - 1) * sum(!event)) * sum(y^2)
  s11 <- k / (k - 1) * sum(x * y)
  sqrt(s10 / sum(event) + s01 / sum(!event) + 2 * s11 / (sum(event) * sum(!event)))
}
record("prediction", "score c", somers2(score, d$perforation)["C"], obuchowski(score, d$perforation == 1, d$patient_id))
one <- glm(perforation ~ 1, offset = score, family = binomial, data = d, epsilon = 1e-14)
record("prediction", "intercept", coef(one)[1], clustered(one)[1])
two <- glm(perforation ~ score, family = binomial, data = d, epsilon = 1e-14)
record("prediction", "slope", coef(two)[2], clustered(two)[2])
# A plain logistic model with the spline; and a difference by smoking, its standard error for the sites as they are
three <- glm(perforation ~ basis(residual_bone_mm), family = binomial, data = d, epsilon = 1e-14)
record("glm", "deviance", deviance(three))
record("glm", paste("risk", grid), plogis(as.vector(cbind(1, basis(grid)) %*% coef(three))))
bread <- vcov(glm1); meat <- crossprod(rowsum(model.matrix(glm1) * (d$perforation - fitted(glm1)), d$patient_id))
both <- lapply(0:1, function(s) model.matrix(formula(glm1), transform(d, smoker = s)))
p <- lapply(both, function(r) plogis(as.vector(r %*% coef(glm1))))
g <- colMeans(both[[2]] * p[[2]] * (1 - p[[2]])) - colMeans(both[[1]] * p[[1]] * (1 - p[[1]]))
record("glm", "difference", mean(p[[2]] - p[[1]]), sqrt(g %*% bread %*% meat %*% bread %*% g))
write_rows("risk.csv", c("gee", "Hmisc"))
