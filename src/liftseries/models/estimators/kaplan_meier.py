"""Kaplan-Meier survival whose variance knows that implants of one patient share their fate.

The variance is the infinitesimal jackknife: what each implant contributes to S(t), summed within patients,
squared and added up. With one implant a patient it is Greenwood's.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from liftseries.models.estimators.clusters import cluster_codes
from liftseries.models.tidy import CONF_LEVEL


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
    those that fell out left behind. Only a patient's own exits change q and y, so Σq², Σqy and Σy² are
    running totals.
    """
    if len(when) == 0:
        return np.zeros(0)
    codes, _ = cluster_codes(cluster)
    order = np.lexsort((when, codes))
    codes, when = codes[order], when[order]
    left_behind = np.where(failed[order], jump[when], 0.0) - hazard_sum[when]
    starts = np.flatnonzero(np.r_[True, codes[1:] != codes[:-1]])
    size = np.diff(np.r_[starts, len(codes)])
    position = np.arange(len(codes)) - np.repeat(starts, size)
    y_before = (np.repeat(size, size) - position).astype(float)
    y_after = y_before - 1
    q_after = _cumsum_within(left_behind, starts, size)
    q_before = np.where(position == 0, 0.0, np.r_[0.0, q_after[:-1]])

    def running_total(change):
        return np.cumsum(np.bincount(when, weights=change, minlength=len(hazard_sum)))

    qq = running_total(q_after**2 - q_before**2)
    qy = running_total(q_after * y_after - q_before * y_before)
    yy = (size.astype(float) ** 2).sum() + running_total(y_after**2 - y_before**2)
    variance = qq - 2 * hazard_sum * qy + hazard_sum**2 * yy
    # Patients may cancel exactly (each loses one implant of two); what is left of the terms then is rounding.
    rounding = 1e-12 * (qq + 2 * hazard_sum * np.abs(qy) + hazard_sum**2 * yy)
    return np.where(variance > rounding, variance, 0.0)


def _cumsum_within(values, starts, size) -> np.ndarray:
    """Cumulative sums that begin anew at each of `starts`."""
    total = np.cumsum(values)
    return total - np.repeat(np.r_[0.0, total[starts[1:] - 1]], size)


def log_log_interval(survival: np.ndarray, std_error: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """95 % limits of survival on the log(-log) scale; NaN where survival is 0 or 1 or nobody has failed yet.

    Source: Kalbfleisch and Prentice 1980; R's `conf.type = "log-log"`.
    """
    survival, std_error = np.asarray(survival, float), np.asarray(std_error, float)
    inside = (survival > 0) & (survival < 1) & np.isfinite(std_error)
    s = np.where(inside, survival, 0.5)
    width = float(ndtri((1 + CONF_LEVEL) / 2)) * std_error / np.abs(s * np.log(s))
    low, high = s ** np.exp(width), s ** np.exp(-width)
    return np.where(inside, low, np.nan), np.where(inside, high, np.nan)


def numbers_at(months: np.ndarray, failed: np.ndarray, at) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """At risk at each month of `at`, failed and censored before it; the three add up to all implants."""
    months, failed, at = np.asarray(months, float), np.asarray(failed, bool), np.asarray(at, float)
    n_failed = np.searchsorted(np.sort(months[failed]), at, side="left")
    n_censored = np.searchsorted(np.sort(months[~failed]), at, side="left")
    return len(months) - n_failed - n_censored, n_failed, n_censored
