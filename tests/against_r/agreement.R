# Limits of agreement without clusters, intraclass correlations by analysis of variance, Rubin's rules.
source("record.R")
# Peak expiratory flow of 17 people, l/min, first readings of both meters: Bland and Altman 1986, table 1 (from memory).
wright <- c(494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
mini <- c(512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)
e <- wright - mini; n <- length(e); se <- sd(e) * sqrt(1 / n + qnorm(0.975)^2 / (2 * (n - 1)))
record("pefr", c("bias", "sd"), c(mean(e), sd(e)), c(sd(e) / sqrt(n), NA))
record("pefr", c("low", "high"), mean(e) + c(-1, 1) * qnorm(0.975) * sd(e), se)
one_way <- function(key, y, g) {
  a <- anova(lm(y ~ factor(g))); ms <- a[["Mean Sq"]]; m <- tabulate(factor(g)); k <- length(m)
  n0 <- (sum(m) - sum(m^2) / sum(m)) / (k - 1)
  f <- ms[1] / ms[2]; df <- a[["Df"]]
  low <- f / qf(0.975, df[1], df[2]); high <- f * qf(0.975, df[2], df[1])
  record(key, "icc", (ms[1] - ms[2]) / (ms[1] + (n0 - 1) * ms[2]), lower = (low - 1) / (low + n0 - 1), upper = (high - 1) / (high + n0 - 1))
  record(key, c("between", "within", "n0"), c(ms, n0))
}
# Six targets rated by four judges: Shrout and Fleiss 1979, table 2 (from memory).
ratings <- c(9, 2, 5, 8, 6, 1, 3, 2, 8, 4, 6, 8, 7, 1, 2, 6, 10, 5, 6, 9, 6, 2, 4, 7)
one_way("shrout_fleiss", ratings, rep(1:6, each = 4))
d <- series()
one_way("series", d$achieved_mm - d$planned_mm, d$patient_id)
one_way("perforation", d$perforation, d$patient_id)
left_out <- sapply(unique(d$patient_id), function(i) {
  s <- d[d$patient_id != i, ]
  ms <- anova(lm(perforation ~ factor(patient_id), s))[["Mean Sq"]]; m <- tabulate(factor(s$patient_id))
  n0 <- (sum(m) - sum(m^2) / sum(m)) / (length(m) - 1)
  atanh((ms[1] - ms[2]) / (ms[1] + (n0 - 1) * ms[2]))
})
k <- length(left_out)
record("perforation", "jackknife z", NA, sqrt((k - 1) / k * sum((left_out - mean(left_out))^2)))
q <- c(1.10, 0.85, 1.32, 0.97, 1.21); u <- c(.09, .11, .08, .10, .095)
pool <- function(topic, ...) { p <- mice::pool.scalar(q, u, ...); record(topic, c("estimate", "variance", "df", "fmi"), c(p$qbar, p$t, p$df, p$fmi)) }
pool("rubin", n = 300, k = 3)
pool("rubin_infinite")
write_rows("agreement.csv", if (requireNamespace("mice", quietly = TRUE)) "mice" else "stats")
