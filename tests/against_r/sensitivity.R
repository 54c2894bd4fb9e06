# Lost implants and overlooked tears: survfit on changed data, the delta method by numDeriv.
source("record.R")
library(survival)
d <- series()
d$failed <- d$status == 1; d$died <- d$status == 2
month <- 36
lost <- !d$failed & !d$died & d$time_months < month - 3  # a visit 3 months early is the visit of the month
at_month <- function(key, time, event) {
  s <- summary(survfit(Surv(time, event) ~ 1, cluster = d$patient_id, conf.type = "log-log"), times = month)
  record("lost", key, s$surv, s$std.err, s$lower, s$upper)
  s
}
observed <- at_month("as observed", d$time_months, d$failed)
invisible(at_month("best case", ifelse(lost, month, d$time_months), d$failed))
invisible(at_month("worst case", d$time_months, d$failed | lost))
# Each lost implant counts twice: with weight `share` it failed when last seen, with the rest it lasts to the month.
if_share <- function(share) {
  time <- c(ifelse(lost, month, d$time_months), d$time_months[lost]); event <- c(d$failed, rep(TRUE, sum(lost)))
  weight <- c(ifelse(lost, 1 - share, 1), rep(share, sum(lost))); kept <- weight > 0
  summary(survfit(Surv(time[kept], event[kept]) ~ 1, weights = weight[kept]), times = month)$surv
}
record("lost", "tipping point", uniroot(function(x) if_share(x) - observed$lower, c(1e-6, 1 - 1e-6), tol = 1e-12)$root)
record("lost", "third", if_share(1 / 3))

# Log odds ratio of two groups, their tears seen with probabilities 0.8 and 0.6. Few patients: (I - H)^-1 residuals.
contrast <- function(key, d, bias_reduced) {
  x <- cbind(d$septa == 0, d$septa == 1) * 1; bread <- solve(crossprod(x)); share <- c(bread %*% crossprod(x, d$perforation))
  scores <- sapply(split(seq_len(nrow(d)), d$patient_id), function(i) {
    e <- d$perforation[i] - x[i, , drop = FALSE] %*% share
    if (bias_reduced) e <- solve(diag(length(i)) - x[i, , drop = FALSE] %*% bread %*% t(x[i, , drop = FALSE]), e)
    crossprod(x[i, , drop = FALSE], e)
  })
  covariance <- bread %*% tcrossprod(scores) %*% bread
  for (seen in list(c(1, 1), c(0.8, 0.6))) {
    f <- function(p) diff(qlogis(p / seen))
    slope <- numDeriv::grad(f, share)
    record(key, paste(seen, collapse = "/"), f(share), sqrt(c(slope %*% covariance %*% slope)))
  }
}
contrast("many", d, FALSE)
# The same shares and covariance from a GEE.
g <- geepack::geeglm(perforation ~ 0 + factor(septa), id = patient_id, data = d, corstr = "independence")
by_hand <- sapply(0:1, function(k) {
  i <- d$septa == k; e <- d$perforation[i] - mean(d$perforation[i])
  sqrt(sum(tapply(e, d$patient_id[i], sum)^2)) / sum(i)
})
stopifnot(all.equal(unname(sqrt(diag(g$geese$vbeta))), by_hand, tolerance = 1e-6))
contrast("few", d[d$patient_id %in% unique(d$patient_id)[1:40], ], TRUE)
write_rows("sensitivity.csv", c("survival", "numDeriv", "geepack"))
