# A comparison of two groups: glm's propensity, weighted shares and survfit, glm and coxph standardised; errors from
# numerical derivatives in each patient's weight with everything refitted. Weights that are no counts: quasibinomial.
source("record.R")
library(survival)
d <- series()
d$event <- d$perforation
d$failed <- as.integer(d$status == 1)
patients <- unique(d$patient_id)
K <- length(patients)
tight <- glm.control(epsilon = 1e-14, maxit = 100)
propensity <- function(w) {
  d$w <- w
  fitted(glm(septa ~ residual_bone_mm + smoker, quasibinomial, d, weights = w, control = tight))
}
weigh <- list(
  crude = function(w) w,
  overlap = function(w) { e <- propensity(w); w * ifelse(d$septa == 1, 1 - e, e) },
  inverse_probability = function(w) { e <- propensity(w); w / ifelse(d$septa == 1, e, 1 - e) })
shares <- function(kind) function(w) {
  v <- weigh[[kind]](w)
  sapply(0:1, function(g) weighted.mean(d$event[d$septa == g], v[d$septa == g]))
}
standardised <- function(w) {
  d$w <- w
  fit <- glm(event ~ septa + residual_bone_mm + smoker, quasibinomial, d, weights = w, control = tight)
  sapply(0:1, function(g) weighted.mean(predict(fit, transform(d, septa = g), type = "response"), w))
}
survives <- function(kind) function(w) {
  v <- weigh[[kind]](w)
  sapply(0:1, function(g) {
    own <- d$septa == g
    summary(survfit(Surv(time_months, failed) ~ 1, d[own, ], weights = v[own]), times = 36)$surv
  })
}
cox <- function(w) {
  d$w <- w
  fit <- coxph(Surv(time_months, failed) ~ septa + residual_bone_mm + smoker, d, weights = w, ties = "efron",
    control = coxph.control(eps = 1e-14, toler.chol = 1e-15, iter.max = 50))
  sapply(0:1, function(g) {
    at <- transform(d, septa = g)
    s <- summary(survfit(fit, newdata = at, stype = 2, ctype = 1, se.fit = FALSE), times = 36)$surv
    weighted.mean(as.numeric(s), w)
  })
}
contrasts_of <- function(v) c(v, v[2] - v[1], log(v[2] / v[1]))
told <- function(key, of) {
  h <- 1e-4
  value <- contrasts_of(of(rep(1, nrow(d))))
  influence <- t(sapply(patients, function(k) {
    mine <- d$patient_id == k
    (contrasts_of(of(1 + h * mine)) - contrasts_of(of(1 - h * mine))) / (2 * h)
  }))
  record(key, c("0", "1", "difference", "log ratio"), value, sqrt(K / (K - 1) * colSums(influence^2)))
}
for (kind in names(weigh)) {
  told(paste("risk", kind), shares(kind))
  told(paste("survival", kind), survives(kind))
}
told("risk g_computation", standardised)
told("survival g_computation", cox)
write_rows("comparison.csv", "survival")
