"""Kaplan-Meier survival whose variance knows that implants of one patient share their fate.

The variance is the infinitesimal jackknife: what each implant contributes to S(t), summed within patients,
squared and added up. With one implant a patient it is Greenwood's.
"""

from dataclasses import dataclass

import numpy as np

from liftseries.estimators.clusters import cluster_codes, running_products
from liftseries.estimators.intervals import critical_value

NORMAL = critical_value()


@dataclass(frozen=True)
class KaplanMeier:
    """Survival at each time of failure.

    Attributes
    ----------
    months : shape (n_times,), rising
        The times at which an implant failed.
    n_at_risk, n_failed : shape (n_times,)
    survival : shape (n_times,), probability
        Just after each time.
    std_error : shape (n_times,)
        Patient-clustered; NaN once survival is 0.
    last_month : the last time anyone was under observation; NaN without an implant
    """

    months: np.ndarray
    n_at_risk: np.ndarray
    n_failed: np.ndarray
    survival: np.ndarray
    std_error: np.ndarray
    last_month: float

    def at(self, months) -> tuple[np.ndarray, np.ndarray]:
        """Survival and its standard error at months; 1 and 0 before the first failure, NaN after the end.

        A curve that has come down to 0 stays there.
        """
        months = np.asarray(months, float)
        step = np.searchsorted(self.months, months, side="right")
        ended_at_0 = self.survival.size > 0 and self.survival[-1] == 0
        beyond = ~(months <= self.last_month) & ~ended_at_0
        survival = np.where(beyond, np.nan, np.r_[1.0, self.survival][step])
        return survival, np.where(beyond, np.nan, np.r_[0.0, self.std_error][step])


def kaplan_meier(months: np.ndarray, failed: np.ndarray, cluster: np.ndarray) -> KaplanMeier:
    """Kaplan-Meier estimate with a clustered infinitesimal-jackknife standard error.

    An implant i contributes to S(t)

        -S(t) [ failed_i 1(t_i ≤ t) / (n - d at t_i)  -  Σ_{u ≤ min(t_i, t)} d / (n (n - d)) ]

    Parameters
    ----------
    months : shape (n,)
    failed : shape (n,), true/false
    cluster : shape (n,)
        Whose implant it is.

    Returns
    -------
    KaplanMeier

    Source: Kaplan and Meier 1958, doi:10.1080/01621459.1958.10501452; equal to R's `survfit(..., cluster=)`.
    """
    months, failed = np.asarray(months, float), np.asarray(failed, bool)
    times, when = np.unique(months, return_inverse=True)
    n_out = np.bincount(when, minlength=len(times))
    d = np.bincount(when, weights=failed, minlength=len(times))
    n = np.cumsum(n_out[::-1])[::-1]
    survival = np.cumprod(1 - d / n)
    with np.errstate(divide="ignore", invalid="ignore"):
        jump = np.where((d > 0) & (n > d), 1 / (n - d), 0.0)
    hazard_sum = np.cumsum(jump * d / n)  # G, the sum in Greenwood's formula
    variance = clustered_variance(when, failed, cluster, jump, hazard_sum)
    variance[n == d] = np.nan  # all that were left failed: survival is 0 from here on and has no variance
    at_failure = d > 0
    return KaplanMeier(
        months=times[at_failure],
        n_at_risk=n[at_failure],
        n_failed=d[at_failure].astype(int),
        survival=survival[at_failure],
        std_error=(survival * np.sqrt(variance))[at_failure],
        last_month=float(times[-1]) if len(times) else np.nan,
    )


def clustered_variance(when, failed, cluster, jump, hazard_sum) -> np.ndarray:
    """Σ over patients of (their summed contribution to log S)² at every time, by cumulative sums.

    At time t a patient's sum is q - y G(t), y their implants still under observation after t and q what
    those that fell out left behind.
    """
    left_behind = np.where(failed, jump[when], 0.0) - hazard_sum[when]
    v = running_products(cluster_codes(cluster)[0], when, left_behind[:, None], len(hazard_sum))
    yy, qy, qq = v[:, 0, 0], v[:, 0, 1], v[:, 1, 1]
    variance = qq - 2 * hazard_sum * qy + hazard_sum**2 * yy
    # Patients may cancel exactly (each loses one implant of two); what is left of the terms then is rounding.
    rounding = 1e-12 * (qq + 2 * hazard_sum * np.abs(qy) + hazard_sum**2 * yy)
    return np.where(variance > rounding, variance, 0.0)


def log_log_interval(
    survival: np.ndarray, std_error: np.ndarray, critical: float = NORMAL
) -> tuple[np.ndarray, np.ndarray]:
    """95 % limits of survival on the log(-log) scale; NaN where survival is 0 or 1 or nobody has failed yet.

    `critical` is the half-width in standard errors, the normal's where nothing else is said.

    Source: Kalbfleisch and Prentice 1980; R's `conf.type = "log-log"`.
    """
    survival, std_error = np.asarray(survival, float), np.asarray(std_error, float)
    inside = (survival > 0) & (survival < 1) & np.isfinite(std_error)
    s = np.where(inside, survival, 0.5)
    width = critical * std_error / np.abs(s * np.log(s))
    low, high = s ** np.exp(width), s ** np.exp(-width)
    return np.where(inside, low, np.nan), np.where(inside, high, np.nan)


def numbers_at(months: np.ndarray, failed: np.ndarray, at) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """At risk at each month of `at`, failed and censored before it; the three add up to all implants."""
    months, failed, at = np.asarray(months, float), np.asarray(failed, bool), np.asarray(at, float)
    n_failed = np.searchsorted(np.sort(months[failed]), at, side="left")
    n_censored = np.searchsorted(np.sort(months[~failed]), at, side="left")
    return len(months) - n_failed - n_censored, n_failed, n_censored
