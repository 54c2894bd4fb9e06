"""What an audit asks of each operator: where a count lies in the clustered funnel, and the limit of a CUSUM."""

from __future__ import annotations

import numpy as np

from contests.contest import Contest, R
from contests.simulated import INTRACLASS

N_DRAWS, ODDS_RATIO, FALSE_ALARM = 5000, 2.0, 0.05
N_TOLD = 20  # operators whose numbers are compared


def _operators(d) -> list[np.ndarray]:
    """The rows of each operator; they stand together."""
    starts = np.flatnonzero(np.diff(d["operator"], prepend=-1))
    return np.split(np.arange(len(d["operator"])), starts[1:])


def ours_funnel(d):
    from liftseries.estimators.clustered_count import count_distribution, tails
    from liftseries.models.audit.limits import Areas, lies, make_up

    members, areas = _operators(d), Areas(0.0228, 0.00135)
    yield
    told = []
    for rows in members:
        of = make_up(d["patient"][rows], d["expected"][rows])
        in_control = tails(count_distribution(of.sizes, of.means, INTRACLASS))
        told.append(lies(int(d["perforated"][rows].sum()), in_control, areas)[0])
    yield [one.p_high for one in told[:N_TOLD]], ()


def ours_cusum(d):
    from liftseries.estimators.cusum import limit_of, maxima, sequence_of

    members, random = _operators(d), np.random.default_rng(1)
    yield
    limits = []
    for rows in members:
        cases = sequence_of(d["expected"][rows], d["patient"][rows])
        drawn = cases.drawn(random, N_DRAWS, INTRACLASS)
        limits.append(limit_of(maxima(drawn, cases.expected, ODDS_RATIO), FALSE_ALARM).value)
    yield [np.mean(limits)], ()


R_FUNNEL = """
rho <- 0.15; areas <- c(0.0228, 0.00135); rows_of <- split(seq_len(n), d$operator)
beta_binomial <- function(m, p) {
  k <- 0:m; a <- p * (1 - rho) / rho; b <- (1 - p) * (1 - rho) / rho
  exp(lchoose(m, k) + lbeta(k + a, m - k + b) - lbeta(a, b))
}
fit <- function() sapply(rows_of, function(rows) {
  sizes <- rowsum(rep(1, length(rows)), d$patient[rows], reorder = FALSE)
  means <- rowsum(d$expected[rows], d$patient[rows], reorder = FALSE) / sizes
  whole <- 1
  for (i in seq_along(sizes)) {
    own <- beta_binomial(sizes[i], means[i]); sum <- numeric(length(whole) + sizes[i]); at <- seq_along(whole)
    for (k in 0:sizes[i]) sum[at + k] <- sum[at + k] + whole * own[k + 1]
    whole <- sum
  }
  at_least <- rev(cumsum(rev(whole))); at_most <- cumsum(whole); x <- sum(d$perforated[rows])
  c(at_least[x + 1], sapply(areas, function(a) c(which(at_least <= a)[1], max(0, which(at_most <= a)))))
})
numbers <- function(fit) list(fit[1, seq_len(min(20, ncol(fit)))], NULL)
"""
R_CUSUM = """
rho <- 0.15; draws <- 5000; gain <- log(2); rows_of <- split(seq_len(n), d$operator)
fit <- function() sapply(rows_of, function(rows) {
  q <- d$expected[rows]; patient <- d$patient[rows]; mean_q <- ave(q, patient)
  total <- largest <- so_far <- numeric(draws); j <- 0
  for (t in seq_along(rows)) {
    if (t > 1 && patient[t] == patient[t - 1]) j <- j + 1 else { j <- 0; so_far <- numeric(draws) }
    event <- runif(draws) < (mean_q[t] * (1 - rho) + rho * so_far) / (1 - rho + rho * j)
    so_far <- so_far + event
    total <- total + event * gain - log(1 + q[t]); total[total < 0] <- 0
    largest <- pmax(largest, total)
  }
  ordered <- sort(largest); reached <- 1 - (match(ordered, ordered) - 1) / draws
  ordered[which(reached <= 0.05)[1]]
})
numbers <- function(fit) list(mean(fit), NULL)
"""

COLUMNS = ("operator", "patient", "expected")
CONTESTS = {
    "funnel": Contest("clustered funnel, an operator some 200 implants", (*COLUMNS, "perforated"), {
        "ours": ours_funnel, "R, beta-binomials convolved": R(R_FUNNEL),
    }),
    "cusum": Contest("CUSUM limit of each operator, 5,000 draws", COLUMNS, {
        "ours": ours_cusum, "R, simulated, vectorised over draws": R(R_CUSUM),
    }, exact=False),
}  # fmt: skip
