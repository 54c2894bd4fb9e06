"""Intervals of a share of independent sites: Wilson's, and the exact one.

Two lines each, since the library that has them takes a second to import; the tests hold them to it.
"""

import numpy as np
from scipy.special import betainccinv, betaincinv, ndtri

from liftseries.estimators.intervals import CONF_LEVEL

TAIL = (1 - CONF_LEVEL) / 2.0


def wilson(n_events: int, n: int) -> tuple[float, float]:
    """Wilson's score interval of n_events among n.

    Source: Wilson 1927, doi:10.1080/01621459.1927.10502953.
    """
    z, share = -ndtri(TAIL), n_events / n
    denominator = 1 + z**2 / n
    centre = (share + z**2 / (2 * n)) / denominator
    half = z * np.sqrt(share * (1.0 - share) / n + z**2 / (4.0 * n**2)) / denominator
    # Both limits are exact there by the formula; computed, they miss in the last bits.
    low = 0.0 if n_events == 0 else float(centre - half)
    return low, 1.0 if n_events == n else float(centre + half)


def exact(n_events: int, n: int) -> tuple[float, float]:
    """The exact interval of n_events among n.

    Source: Clopper and Pearson 1934, doi:10.1093/biomet/26.4.404.
    """
    low = 0.0 if n_events == 0 else float(betaincinv(n_events, n - n_events + 1, TAIL))
    return low, 1.0 if n_events == n else float(betainccinv(n_events + 1, n - n_events, TAIL))
