"""Intervals of a share: of sites that share patients, and, as if they were independent, Wilson's and the exact one.

Two lines each, since the library that has them takes a second to import; the tests hold them to it.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import betainccinv, betaincinv, expit, logit, ndtri

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value

TAIL = (1 - CONF_LEVEL) / 2.0
NO_STD_ERROR = 1e-10  # a standard error this small is rounding about zero


def largest_risk(n: int, n_events: int = 0) -> float:
    """The risk of which so few events in n independent chances are still 5 % likely: of none 1 - 0.05^(1/n), about 3/n.

    Source: Clopper and Pearson 1934; at no event Hanley and Lippman-Hand 1983, doi:10.1001/jama.1983.03330370053031.
    """
    return float(betaincinv(n_events + 1, n - n_events, CONF_LEVEL)) if n_events < n else 1.0


@dataclass(frozen=True)
class Share:
    """A share of sites and its interval with patients as clusters.

    Attributes
    ----------
    estimate : events / sites
    std_error : NaN where the interval does not come from one
    conf_low, conf_high : NaN where there is no interval
    df : K - 1 of t, None where the interval does not come from it
    note : a remark, where the interval is none of a standard error: which it is; "" otherwise
    """

    estimate: float
    std_error: float
    conf_low: float
    conf_high: float
    df: int | None
    note: str


def share_of_patients(event: np.ndarray, patient: np.ndarray) -> Share:
    """The share of sites with an event, its interval from the differences between patients.

    With K patients, of whom k has n_k sites and x_k events, p = Σ x_k / n and m the smaller of the numbers of patients
    with an event and of patients with a non-event:

        variance = m / (m - 1) Σ (x_k - n_k p)² / n²,   logit interval with t(K - 1)

    With m = 1 the interval is the exact one of 1 in K patients (of K - 1 where nearly all sites have the event),
    widened to hold p; with m = 0 the bound of one side, 1 - 0.05^(1/K).

    Parameters
    ----------
    event : shape (n,), true/false
    patient : shape (n,)
        Whose site it is.

    Raises NotFitted with fewer than two patients.

    Source: the linearised ratio, Cochran 1977, Sampling Techniques, section 6.3 (from memory), as R's `svymean` over
    clusters but for its factor K / (K - 1); with few events the patients that have one carry the variance, whence m.
    """
    event = np.asarray(event, bool)
    codes, k = cluster_codes(patient)
    if k < 2:
        raise NotFitted(remark("one_patient" if k else "no_site"))
    n, share = len(event), float(event.mean())
    events = np.bincount(codes, event, k)
    sites = np.bincount(codes, minlength=k)
    m = int(min((events > 0).sum(), (events < sites).sum()))
    if m == 0:
        bound = largest_risk(k)
        low, high = (0.0, bound) if share == 0 else (1 - bound, 1.0)
        return Share(share, np.nan, low, high, None, remark("one_sided_bound"))
    if m == 1:
        low, high = exact(1, k) if (events > 0).sum() == 1 else exact(k - 1, k)
        return Share(share, np.nan, min(low, share), max(high, share), None, remark("one_patient_has_the_outcome"))
    std_error = float(np.sqrt(m / (m - 1) * ((events - sites * share) ** 2).sum()) / n)
    if not std_error > NO_STD_ERROR:
        return Share(share, np.nan, np.nan, np.nan, None, remark("zero_std_error"))
    half = critical_value(k - 1) * std_error / (share * (1 - share))
    low, high = (float(limit) for limit in expit(logit(share) + np.array([-half, half])))
    return Share(share, std_error, low, high, k - 1, "")


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
