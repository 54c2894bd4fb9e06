"""How many of a unit's sites have an event when all is well: a sum of beta-binomial counts, a patient each.

A patient's risk comes from a beta distribution, so that sites of one patient are alike with correlation ρ; patients are
independent. The distribution of the sum is exact: the patients' distributions are convolved.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.gee import INDEPENDENCE, LARGEST_ALPHA, logistic_gee
from liftseries.estimators.intervals import NotFitted

HAIR = 1e-9  # relative: a tail area so little above its limit lies on it
MOST_SITES = 10_000  # nobody operates on more; the search for the sites needed ends here


def beta_binomial(m: int, mean, correlation: float) -> np.ndarray:
    """Probabilities of 0 … m events among m sites of a patient.

        P(k) = C(m, k) Π_{i<k} (p (1 - ρ) + i ρ) Π_{j<m-k} ((1 - p)(1 - ρ) + j ρ) / Π_{l<m} (1 - ρ + l ρ)

    which is the beta-binomial with a = p (1 - ρ) / ρ, b = (1 - p)(1 - ρ) / ρ, and the binomial at ρ = 0.

    Parameters
    ----------
    m : at least 1
    mean : shape (n,) or a number, p
    correlation : ρ, from 0 to below 1

    Returns
    -------
    shape (n, m + 1), or (m + 1,) of one mean

    Source: Skellam 1948, doi:10.1111/j.2517-6161.1948.tb00014.x (from memory), as products, which lose no digits where
    ρ is small.
    """
    p, rho, steps = np.asarray(mean, float)[..., None], correlation, np.arange(m)
    whole = 1 - rho + rho * steps
    rising = np.cumprod(np.concatenate([np.ones_like(p), (p * (1 - rho) + rho * steps) / whole], axis=-1), axis=-1)
    falling = np.concatenate([np.ones_like(p), (1 - p) * (1 - rho) + rho * steps], axis=-1).cumprod(axis=-1)
    # Π_{l<m} is split: the first k factors went under the rising product, the last m - k go under the falling one.
    rest = np.cumprod(np.r_[1.0, whole[::-1]])
    ways = np.cumprod(np.r_[1.0, (m - steps) / (steps + 1)])
    return ways * rising * falling[..., ::-1] / rest[::-1]


def count_distribution(sizes: np.ndarray, means, correlation: float) -> np.ndarray:
    """Probabilities of 0 … n events among all sites of some patients.

    Parameters
    ----------
    sizes : shape (K,), sites of each patient, at least 1
    means : shape (K,) or a number, each patient's risk
    correlation : ρ within a patient

    Returns
    -------
    shape (n + 1,), n the sum of the sizes
    """
    sizes = np.asarray(sizes, int)
    means = np.broadcast_to(np.asarray(means, float), sizes.shape)
    parts: list[np.ndarray] = []
    for m in np.unique(sizes):
        parts += list(beta_binomial(int(m), means[sizes == m], correlation))
    while len(parts) > 1:
        pairs = [np.convolve(one, other) for one, other in zip(parts[::2], parts[1::2], strict=False)]
        parts = pairs + parts[len(parts) - len(parts) % 2 :]
    return parts[0] if parts else np.ones(1)


@dataclass(frozen=True)
class Tails:
    """Tail areas of a count, shape (n + 1,) each.

    Attributes
    ----------
    at_least, at_most : P(X ≥ x) and P(X ≤ x) of x = 0 … n
    """

    at_least: np.ndarray
    at_most: np.ndarray

    def upper(self, area: float) -> int | None:
        """The smallest count with P(X ≥ count) ≤ area; None where there is none."""
        found = np.flatnonzero(self.at_least <= area * (1 + HAIR))
        return int(found[0]) if len(found) else None

    def lower(self, area: float) -> int | None:
        """The largest count with P(X ≤ count) ≤ area; None where there is none."""
        found = np.flatnonzero(self.at_most <= area * (1 + HAIR))
        return int(found[-1]) if len(found) else None

    def beyond(self, lower: int | None, upper: int | None) -> float:
        """The probability of a count at or below `lower`, or at or above `upper`."""
        low = 0.0 if lower is None else float(self.at_most[lower])
        return low + (0.0 if upper is None else float(self.at_least[upper]))


def tails(probability: np.ndarray) -> Tails:
    """Tail areas of a distribution of 0 … n, each summed from its own end, so that small ones keep their digits."""
    at_least = np.minimum(np.cumsum(probability[::-1])[::-1], 1.0)
    return Tails(at_least, np.minimum(np.cumsum(probability), 1.0))


def odds_times(risk, ratio: float):
    """A risk whose odds are `ratio` times those of `risk`."""
    risk = np.asarray(risk, float)
    return ratio * risk / (1 - risk + ratio * risk)


def needed_sites(mean: float, correlation: float, size: int, area: float, ratio: float = 2.0, power: float = 0.8):
    """Sites from which on a unit at `ratio` times the odds is flagged high with at least a probability.

    Patients of `size` sites each are added one by one; a count is flagged where P(X ≥ count) ≤ `area` at `mean`. The
    probability of a flag rises like a saw; what is given is the first number after which it never falls below `power`
    again, looked for up to twice that number.

    Parameters
    ----------
    mean : the risk in control, above 0 and below 1
    correlation : ρ within a patient
    size : sites of a patient
    area : tail area of the limit
    ratio, power

    Returns
    -------
    number of sites, or None where it would be more than `MOST_SITES`
    """
    well, ill = beta_binomial(size, mean, correlation), beta_binomial(size, odds_times(mean, ratio), correlation)
    of_well, of_ill, last_failed = np.ones(1), np.ones(1), 0
    for k in range(1, 2 * MOST_SITES // size + 1):
        of_well, of_ill = np.convolve(of_well, well), np.convolve(of_ill, ill)
        upper = tails(of_well).upper(area)
        if upper is None or of_ill[upper:].sum() < power:
            last_failed = k
        elif k >= 2 * last_failed + 2:
            return (last_failed + 1) * size
        if (last_failed + 1) * size > MOST_SITES:
            return None
    return None


def correlation_of_patients(event: np.ndarray, patient: np.ndarray) -> float:
    """ρ: how alike the sites of a patient are, not below 0.

    The moment estimate over N - p of a logistic GEE with a constant only; at working independence where that GEE has no
    answer or its correlation cannot be used.

    Parameters
    ----------
    event : shape (n,), true/false
    patient : shape (n,)

    Source: Liang and Zeger 1986, doi:10.1093/biomet/73.1.13.
    """
    event = np.asarray(event, bool)
    if event.all() or not event.any():
        return 0.0
    try:
        fit = logistic_gee(np.ones((len(event), 1)), event, patient)
        if fit.remark != INDEPENDENCE:
            return max(0.0, fit.alpha)
    except NotFitted:
        pass
    codes, k = cluster_codes(patient)
    pairs = (np.bincount(codes) * (np.bincount(codes) - 1) / 2).sum()
    if pairs <= 1:
        return 0.0
    share = event.mean()
    e = (event - share) / np.sqrt(share * (1 - share))
    phi = e @ e / (len(e) - 1)
    moment = ((np.bincount(codes, e, k) ** 2).sum() - e @ e) / 2 / (pairs - 1) / phi
    return float(min(max(moment, 0.0), LARGEST_ALPHA))


def shifted_to_mean(log_odds: np.ndarray, mean: float, weights: np.ndarray | None = None) -> np.ndarray:
    """Risks at `log_odds` + c, c such that their mean is `mean`.

    Parameters
    ----------
    log_odds : shape (n,)
    mean : above 0 and below 1
    weights : shape (n,), how many sites each stands for; one where None

    Raises
    ------
    NotFitted
        There is no site, or no such c.
    """
    from scipy.optimize import brentq
    from scipy.special import expit, logit

    if len(log_odds) == 0 or not 0 < mean < 1 or not np.isfinite(log_odds).all():
        raise NotFitted(remark("no_complete_case_with_perforation"))
    low, high = logit(mean) - log_odds.max() - 1e-9, logit(mean) - log_odds.min() + 1e-9
    shift = brentq(lambda c: np.average(expit(log_odds + c), weights=weights) - mean, low, high, xtol=1e-14, rtol=1e-14)
    return expit(log_odds + shift)
