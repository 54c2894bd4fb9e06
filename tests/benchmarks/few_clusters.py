"""Why below 50 clusters the bias-reduced covariance with t(K - p): size and coverage of four kinds of GEE interval.

    python tests/benchmarks/few_clusters.py [--replicates 2000] [--events 0.2] [--cores 2]

Events correlated within clusters (latent 0.3), a covariate that varies between the sites and one that belongs to the
cluster. Clusters are patients with 1 to 4 sites, and, at K = 8, operators with 40 sites each. Size is the share of
tests at 5 % that reject a true "no effect"; coverage the share of 95 % intervals that hold an odds ratio of 2. Prints
Markdown tables; each replicate has its own generator.
"""

from __future__ import annotations

import os

os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before numpy is imported: one process a core

import argparse
from concurrent.futures import ProcessPoolExecutor
from itertools import product

import numpy as np
from clustered_series import scores_drawn
from scipy.optimize import brentq
from scipy.special import expit, ndtr

from liftseries.estimators.gee import logistic_gee
from liftseries.estimators.intervals import NotFitted, critical_value

SEED = 20260102
ALIKE = 0.3
ODDS_RATIO = 2.0
CLUSTERS = (8, 12, 20, 30, 40, 50, 80, 120)
OPERATORS, SITES_AN_OPERATOR = 8, 40
KINDS = {
    "sandwich z": (0, False),
    "sandwich t(K - p)": (0, True),
    "bias-reduced z": (10**9, False),
    "bias-reduced t(K - p)": (10**9, True),
}
COVARIATES = ("site", "cluster")
A_CHUNK = 250


def covariates_drawn(rng: np.random.Generator, cluster: np.ndarray) -> np.ndarray:
    """A balanced level of each site, and a number of each cluster, both with standard deviation 1; shape (n, 2)."""
    site = rng.choice([-1.0, 1.0], len(cluster))
    return np.column_stack([site, rng.standard_normal(cluster.max() + 1)[cluster]])


def intercept(log_odds_ratio: float, events: float) -> float:
    """At which the share `events` of the sites has the event, by quadrature over both covariates."""
    node, weight = np.polynomial.hermite_e.hermegauss(60)
    both = np.add.outer([-log_odds_ratio, log_odds_ratio], log_odds_ratio * node).ravel()
    weights = np.tile(weight / weight.sum() / 2, 2)
    return brentq(lambda b: weights @ expit(b + both) - events, -10, 5)


def drawn(key: tuple[int, bool], effect: float, events: float, first: int, n: int) -> np.ndarray:
    """For each replicate, kind and covariate whether the interval holds the effect; NaN where it was not fitted."""
    n_clusters, operators = key
    b = intercept(effect, events)
    holds = np.full((n, len(KINDS), 2), np.nan)
    for i in range(n):
        rng = np.random.default_rng([SEED, n_clusters, operators, int(effect > 0), first + i])
        size = np.full(n_clusters, SITES_AN_OPERATOR) if operators else rng.integers(1, 5, n_clusters)
        cluster = np.repeat(np.arange(n_clusters), size)
        x = covariates_drawn(rng, cluster)
        event = ndtr(scores_drawn(rng, cluster, ALIKE)) < expit(b + effect * x.sum(axis=1))
        design = np.column_stack([np.ones(len(x)), x])
        fits = {}
        for few in (0, 10**9):
            try:
                fits[few] = logistic_gee(design, event, cluster, few_clusters=few)
            except NotFitted:
                continue
        for k, (few, by_t) in enumerate(KINDS.values()):
            if few in fits:
                reach = critical_value(n_clusters - 3 if by_t else None) * fits[few].std_error[1:]
                holds[i, k] = np.abs(fits[few].coefficients[1:] - effect) <= reach
    return holds


def in_percent(holds: np.ndarray, misses: bool) -> str:
    """Size or coverage in percent with its Monte Carlo error."""
    fitted = holds[np.isfinite(holds)]
    if len(fitted) < 100:
        return "–"
    share = 1 - fitted.mean() if misses else fitted.mean()
    return f"{100 * share:.1f} ± {100 * np.sqrt(share * (1 - share) / len(fitted)):.1f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--replicates", type=int, default=2000)
    parser.add_argument("--events", type=float, default=0.2, help="share of the sites that has the event")
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    keys = [(OPERATORS, True), *((k, False) for k in CLUSTERS)]
    effects = (0.0, np.log(ODDS_RATIO))
    firsts = range(0, options.replicates, A_CHUNK)
    with ProcessPoolExecutor(options.cores) as pool:
        jobs = {
            (key, effect, first): pool.submit(
                drawn, key, effect, options.events, first, min(A_CHUNK, options.replicates - first)
            )
            for key, effect, first in product(keys, effects, firsts)
        }
    found = {
        (key, effect): np.concatenate([jobs[key, effect, first].result() for first in firsts])
        for key, effect in product(keys, effects)
    }
    for effect, what in zip(effects, ("size of a test at 5 %", "coverage of a 95 % interval"), strict=True):
        for j, covariate in enumerate(COVARIATES):
            print(f"\n| {what}, covariate of the {covariate}: K | {' | '.join(KINDS)} | not fitted |")
            print(f"| --- | {' | '.join(['---'] * len(KINDS))} | --- |")
            for key in keys:
                holds = found[key, effect][:, :, j]
                cells = [in_percent(holds[:, k], misses=effect == 0) for k in range(len(KINDS))]
                name = f"{key[0]} operators" if key[1] else str(key[0])
                print(f"| {name} | {' | '.join(cells)} | {np.isnan(holds[:, -1]).mean():.1%} |")


if __name__ == "__main__":
    main()
