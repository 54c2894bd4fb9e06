"""Restricted mean survival time: the area under the Kaplan-Meier curve, and what each implant contributes to it."""

from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import NotFitted


@dataclass(frozen=True)
class RestrictedMean:
    """Mean time in function up to a horizon.

    Attributes
    ----------
    months : the area under the curve
    influence : shape (n,), months
        What each implant contributes; the root of the sum of squares within patients is the standard error.
    """

    months: float
    influence: np.ndarray


def restricted_mean(months: np.ndarray, failed: np.ndarray, horizon: float) -> RestrictedMean:
    """Area under Kaplan-Meier up to a horizon.

    An implant i contributes, with A(u) the area from u to the horizon,

        - [failed_i, t_i ≤ horizon] A(t_i) / (n - d at t_i)  +  Σ_{u ≤ min(t_i, horizon)} A(u) d / (n (n - d))

    Parameters
    ----------
    months : shape (n,)
    failed : shape (n,), true/false
    horizon : months

    Returns
    -------
    RestrictedMean

    Raises
    ------
    NotFitted
        Nobody was followed to the horizon, and the curve has not come down to 0.

    Source: Royston and Parmar 2013, doi:10.1186/1471-2288-13-152; with one implant a patient the variance is that of
    R's `print(survfit, rmean =)`.
    """
    months, failed = np.asarray(months, float), np.asarray(failed, bool)
    times, when = np.unique(months, return_inverse=True)
    n = np.cumsum(np.bincount(when)[::-1])[::-1]
    d = np.bincount(when, weights=failed)
    survival = np.cumprod(1 - d / n)
    if horizon > times[-1] and survival[-1] > 0:
        raise NotFitted(remark("last_follow_up", months=times[-1]))
    edges = np.minimum(np.r_[0.0, times], horizon)
    pieces = np.diff(np.r_[edges, horizon]) * np.r_[1.0, survival]
    area = np.cumsum(pieces[::-1])[::-1][1:]  # from each time to the horizon; 0 beyond it
    with np.errstate(divide="ignore", invalid="ignore"):
        jump = np.where((d > 0) & (n > d), area / (n - d), 0.0)
    expected = np.cumsum(jump * d / n)
    return RestrictedMean(float(pieces.sum()), expected[when] - np.where(failed, jump[when], 0.0))
