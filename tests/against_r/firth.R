# Firth-penalised models written out in base R and on top of survival's own likelihood: logistic with patients left out
# one after the other; Cox with Efron ties, estimates and profile limits, also where a level has no failure.
source("record.R")
library(survival)
firth <- function(x, y) {
  b <- rep(0, ncol(x))
  for (i in 1:200) {
    p <- plogis(as.vector(x %*% b)); w <- p * (1 - p)
    inverse <- solve(crossprod(x * w, x))
    h <- w * rowSums((x %*% inverse) * x)
    step <- as.vector(solve(crossprod(x * (w * (1 + h)), x), crossprod(x, y - p + h * (0.5 - p))))
    b <- b + step
    if (max(abs(step)) < 1e-13) return(b)
  }
  stop("not settled")
}
jackknife <- function(one, id, estimate) {
  b <- sapply(unique(id), function(i) one(id != i))
  k <- ncol(b)
  sqrt((k - 1) / k * rowSums((b - rowMeans(b))^2))
}
d <- series()
d$sep <- as.integer(d$operator == 5 & d$perforation == 0)
logistic <- function(key, formula) {
  x <- model.matrix(formula, d); y <- d$perforation
  record(key, colnames(x), firth(x, y), jackknife(function(k) firth(x[k, ], y[k]), d$patient_id))
}
logistic("series", perforation ~ residual_bone_mm + septa + smoker)
logistic("series_separated", perforation ~ sep + smoker)

# coxph stopped at given coefficients gives Efron's likelihood and its information there.
penalised <- function(b, y, x) {
  m <- suppressWarnings(coxph(y ~ x, init = b, control = coxph.control(iter.max = 0)))
  m$loglik[2] - as.numeric(determinant(m$var)$modulus) / 2
}
slope <- function(f, b, h = 2e-3) sapply(seq_along(b), function(j) {
  at <- function(k) { b[j] <- b[j] + k * h; f(b) }
  (8 * (at(1) - at(-1)) - (at(2) - at(-2))) / (12 * h)
})
bend <- function(f, b, h = 1e-3) {
  m <- sapply(seq_along(b), function(j) { e <- replace(0 * b, j, h); (slope(f, b + e) - slope(f, b - e)) / (2 * h) })
  (m + t(m)) / 2
}
top <- function(f, b) {
  for (i in 1:60) {
    step <- -solve(bend(f, b), slope(f, b))
    while (f(b + step) < f(b) - 1e-9) step <- step / 2
    b <- b + step
    if (max(abs(step)) < 1e-9) return(b)
  }
  stop("not settled")
}
cox <- function(key, y, x) {
  f <- function(b) penalised(b, y, x)
  b <- top(f, rep(0, ncol(x)))
  se <- sqrt(diag(coxph(y ~ x, init = b, control = coxph.control(iter.max = 0))$var))
  drop <- qchisq(0.95, 1) / 2
  limit <- function(j, side) {
    rest <- b[-j]
    gap <- function(v) {
      g <- function(r) f(append(r, v, j - 1))
      rest <<- top(g, rest)
      f(b) - g(rest) - drop
    }
    far <- 2
    while (gap(b[j] + side * far * se[j]) < 0) far <- far + 1
    rest <- b[-j]
    uniroot(gap, sort(b[j] + side * c(0.5, far) * se[j]), tol = 1e-10)$root
  }
  k <- seq_along(b)
  record(key, colnames(x), b, se, sapply(k, limit, side = -1), sapply(k, limit, side = 1))
  record(key, "penalised log-likelihood", f(b))
}
y <- Surv(d$time_months, d$status == 1)
cox("cox_series", y, as.matrix(d[c("perforation", "smoker")]))
never <- as.integer(d$operator == 5 & d$status != 1)
cox("cox_no_failure", y, cbind(never = never, smoker = d$smoker))
write_rows("firth.csv", "survival")
