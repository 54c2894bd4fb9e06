"""Kaplan-Meier with weights, read off at a month or summed up to it, and the derivative in the log of each weight.

Any such number is c_0 + Σ c_j S(u_j) over the times u of failure: of the survival at a month one c is 1, of the area
they are the widths of the steps. At a time failures come before censorings, and a failure at t counts in S(t).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import NotFitted


def steps_up_to(times: np.ndarray, month: float, area: bool) -> tuple[float, np.ndarray]:
    """c_0 and c, shape (n_times,), of the survival at a month, or of the area under the curve up to it.

    `times`, rising, are those at which the curve steps down.
    """
    if area:
        edges = np.minimum(np.r_[times, np.inf], month)
        return float(edges[0]), np.diff(edges)
    c = np.zeros(len(times))
    last = np.searchsorted(times, month, side="right")
    if last:
        c[last - 1] = 1.0
    return float(last == 0), c


@dataclass(frozen=True)
class WeightedCurve:
    """A Kaplan-Meier curve with weights.

    Attributes
    ----------
    times : shape (n_times,), rising, at which a row failed
    survival : shape (n_times,), just after each
    hazard : shape (n_times,), failed of those at risk, weighted
    left : shape (n_times,), weight at risk that did not fail; 0 where all failed
    last_month : the last that anyone was under observation
    """

    times: np.ndarray
    survival: np.ndarray
    hazard: np.ndarray
    left: np.ndarray
    last_month: float
    own: np.ndarray
    failed: np.ndarray
    weight: np.ndarray

    def at(self, month: float, area: bool) -> tuple[float, np.ndarray]:
        """Survival at a month, or the area up to it, and its derivative in the log of each weight, shape (n,).

        Raises NotFitted where nobody was followed so far and the curve has not come down to 0.
        """
        if month > self.last_month and not (len(self.survival) and self.survival[-1] == 0):
            raise NotFitted(remark("last_follow_up", months=self.last_month))
        constant, c = steps_up_to(self.times, month, area)
        later = np.cumsum((c * self.survival)[::-1])[::-1]
        pull = np.divide(later, self.left, out=np.zeros(len(later)), where=self.left > 0)
        explicit = np.r_[0.0, np.cumsum(pull * self.hazard)][self.own]
        explicit[self.failed] -= pull[self.own[self.failed] - 1]
        return float(constant + c @ self.survival), self.weight * explicit


def weighted_curve(months: np.ndarray, failed: np.ndarray, weight: np.ndarray) -> WeightedCurve:
    """Kaplan-Meier of rows that weigh differently.

    Parameters
    ----------
    months : shape (n,)
    failed : shape (n,), true/false
    weight : shape (n,), above 0

    Raises NotFitted without a row.

    Source: Xie and Liu 2005, doi:10.1002/sim.2174; with weights of 1 `kaplan_meier`.
    """
    months, failed = np.asarray(months, float), np.asarray(failed, bool)
    if not len(months):
        raise NotFitted(remark("none_followed"))
    times = np.unique(months[failed])
    own = np.searchsorted(times, months, side="right")
    n_times = len(times)
    at_risk, n_at_risk = (
        np.cumsum(np.bincount(own, weights=one, minlength=n_times + 1)[::-1])[::-1][1:]
        for one in (weight, np.ones(len(months)))
    )
    d, n_failed = (
        np.bincount(own[failed] - 1, weights=one[failed], minlength=n_times) for one in (weight, np.ones(len(months)))
    )
    all_failed = n_failed == n_at_risk
    hazard = np.where(all_failed, 1.0, d / at_risk)
    left = np.where(all_failed, 0.0, at_risk - d)
    return WeightedCurve(
        times, np.cumprod(1 - hazard), hazard, left, float(months.max()), own, failed, np.asarray(weight, float)
    )
