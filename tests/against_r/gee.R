# Logistic GEE, exchangeable: package gee (moment alpha over N - p, sandwich without a factor); and the covariance of
# Mancl and DeRouen (2001) written out with each patient's full matrices.
source("record.R")
library(gee)
library(MASS)
suppressPackageStartupMessages(library(geepack))
mancl_derouen <- function(x, y, id, beta, alpha) {
  mu <- plogis(as.vector(x %*% beta))
  a <- mu * (1 - mu)
  block <- lapply(unique(id), function(i) {
    k <- which(id == i)
    d <- x[k, , drop = FALSE] * a[k]
    r <- matrix(alpha, length(k), length(k)); diag(r) <- 1
    v <- diag(sqrt(a[k]), length(k)) %*% r %*% diag(sqrt(a[k]), length(k))
    list(d = d, vi = solve(v), r = y[k] - mu[k])
  })
  m <- solve(Reduce(`+`, lapply(block, function(b) t(b$d) %*% b$vi %*% b$d)))
  meat <- Reduce(`+`, lapply(block, function(b) {
    h <- b$d %*% m %*% t(b$d) %*% b$vi
    s <- t(b$d) %*% b$vi %*% solve(diag(length(b$r)) - h, b$r)
    s %*% t(s)
  }))
  sqrt(diag(m %*% meat %*% m))
}
fit <- function(key, formula, d, id) {
  d$.id <- d[[id]]
  capture.output(suppressMessages(
    m <- gee(formula, id = .id, data = d, family = binomial, corstr = "exchangeable", tol = 1e-13, maxiter = 1000)))
  alpha <- if (ncol(m$working.correlation) > 1) m$working.correlation[1, 2] else 0
  x <- model.matrix(formula, d)
  y <- as.numeric(model.response(model.frame(formula, d)))
  record(key, names(coef(m)), coef(m), sqrt(diag(m$robust.variance)))
  record(key, paste("bias-reduced", names(coef(m))), coef(m), mancl_derouen(x, y, d$.id, coef(m), alpha))
  record(key, c("alpha", "phi"), c(alpha, m$scale))
}
fit("ohio", resp ~ age * smoke, ohio, "id")
b <- transform(bacteria, y = as.integer(y == "y"), id = as.integer(ID), drug = as.integer(trt != "placebo"), late = as.integer(week > 2))
b <- b[order(b$id, b$week), ]
fit("bacteria", y ~ drug + late, b, "id")
d <- series()
fit("series", perforation ~ residual_bone_mm + septa + smoker, d, "patient_id")
fit("series_rate", perforation ~ 1, d, "patient_id")
# The first 40 patients alone: few enough for the bias-reduced covariance to be the one reported.
few <- subset(d, patient_id <= 40)
fit("few", perforation ~ residual_bone_mm, few, "patient_id")
fit("few_rate", perforation ~ 1, few, "patient_id")
write_rows("gee.csv", c("gee", "geepack", "MASS"))
