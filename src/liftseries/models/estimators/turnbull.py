"""Survival from times known only to lie in intervals, without a model: Turnbull's estimate.

The likelihood says how much mass lies in each innermost interval and nothing of where in it. Equal intervals are
collapsed with their weights, so that many resamples are fitted side by side.
"""

from dataclasses import dataclass

import numpy as np

from liftseries.models.tidy import NotFitted

MAX_ITERATIONS = 5000
AT_A_TIME = 1e-9  # an exact time t stands for (t - AT_A_TIME, t]


@dataclass(frozen=True)
class Turnbull:
    """Mass of the innermost intervals.

    Attributes
    ----------
    left, right : shape (m,)
        Innermost intervals (left, right], rising; the last may have right = ∞.
    mass : shape (n_fits, m)
        Of each fit, summing to 1.
    log_likelihood : shape (n_fits,)
    """

    left: np.ndarray
    right: np.ndarray
    mass: np.ndarray
    log_likelihood: np.ndarray

    def survival(self, months) -> np.ndarray:
        """Survival at months, shape (n_fits, n_months); mass within an interval spread evenly over it.

        NaN beyond the left end of an interval that has no right one.
        """
        months = np.atleast_1d(np.asarray(months, float))[:, None]
        width = np.where(np.isfinite(self.right), self.right - self.left, np.inf)
        share = np.clip((months - self.left) / width, 0.0, 1.0)
        fallen = self.mass @ share.T
        unknown = (months > self.left) & ~np.isfinite(self.right)
        return np.where(unknown.any(axis=1)[None, :], np.nan, 1 - fallen)


@dataclass(frozen=True)
class Intervals:
    """Distinct intervals, and which innermost intervals each holds.

    Attributes
    ----------
    holds : shape (n_distinct, m), 0 or 1
    which : shape (n,), the distinct interval of each observation
    left, right : shape (m,), innermost intervals
    """

    holds: np.ndarray
    which: np.ndarray
    left: np.ndarray
    right: np.ndarray


def innermost(left: np.ndarray, right: np.ndarray) -> Intervals:
    """The intervals that can carry mass: from a left end to the next right end with no left end between.

    Parameters
    ----------
    left, right : shape (n,)
        (left, right] holds the time; equal where it is known; right infinite where nothing happened yet.
    """
    left, right = np.asarray(left, float), np.asarray(right, float)
    left = np.where(left == right, left - AT_A_TIME, left)
    distinct, which = np.unique(np.column_stack([left, right]), axis=0, return_inverse=True)
    starts, ends = np.unique(left), np.unique(right)
    before = np.searchsorted(starts, ends, side="left") - 1  # the last start below each end
    p, q = starts[before], ends
    between = np.searchsorted(ends, p, side="right") < np.arange(len(ends))  # an earlier end lies above that start
    p, q = p[~between], q[~between]
    holds = (distinct[:, :1] <= p) & (distinct[:, 1:] >= q)
    return Intervals(holds.astype(float), which.ravel(), p, q)


def turnbull(intervals: Intervals, weights: np.ndarray, tolerance: float = 1e-11) -> Turnbull:
    """Fit by the EM algorithm, its steps extrapolated, to the conditions that hold at the maximum alone.

    Parameters
    ----------
    intervals : as `innermost` gives it
    weights : shape (n_fits, n_distinct)
        How often each distinct interval stands in each fit.
    tolerance : largest change of any mass in an EM step at which a fit has settled

    Returns
    -------
    Turnbull

    Raises
    ------
    NotFitted
        The algorithm does not settle.

    Source: Turnbull 1976, doi:10.1111/j.2517-6161.1976.tb01597.x; extrapolation: Varadhan and Roland 2008,
    doi:10.1111/j.1467-9469.2007.00585.x.
    """
    holds = intervals.holds
    weights = np.atleast_2d(np.asarray(weights, float))
    share = weights / weights.sum(axis=1, keepdims=True)

    def em(mass):
        # An interval that no resampled patient brought may end up without mass; it asks for none.
        wanted = np.where(share > 0, share, 0.0)
        return mass * ((wanted / np.where(share > 0, mass @ holds.T, 1.0)) @ holds)

    # Fits that have settled are put aside; `share` holds those that have not, in their order.
    n_fits, m = len(share), holds.shape[1]
    result = np.empty((n_fits, m))
    whole = share
    open_fits = np.arange(n_fits)
    mass = np.full((n_fits, m), 1 / m)
    for _ in range(MAX_ITERATIONS):
        first = em(mass)
        second = em(first)
        r, v = first - mass, second - 2 * first + mass
        norm = np.sqrt((v**2).sum(axis=1, keepdims=True))
        length = np.maximum(np.sqrt((r**2).sum(axis=1, keepdims=True)) / np.maximum(norm, 1e-300), 1.0)
        leap = mass + 2 * length * r + length**2 * v
        leap = np.where(norm > 1e-14, leap, second)
        allowed = (leap >= 0).all(axis=1) & np.isfinite(leap).all(axis=1)
        leap = np.where(allowed[:, None], leap, second)
        leap = leap / leap.sum(axis=1, keepdims=True)
        with np.errstate(divide="ignore", invalid="ignore"):
            better = _log_likelihood(share, holds, leap) >= _log_likelihood(share, holds, second)
        mass = np.where(better[:, None], leap, second)
        settled = np.abs(em(mass) - mass).max(axis=1) < tolerance
        if settled.any():
            result[open_fits[settled]] = em(mass)[settled]
            open_fits, mass, share = open_fits[~settled], mass[~settled], share[~settled]
        if not len(open_fits):
            log_likelihood = _log_likelihood(whole, holds, result) * weights.sum(axis=1)
            return Turnbull(intervals.left, intervals.right, result, log_likelihood)
    raise NotFitted(f"Turnbull's estimate did not settle within {MAX_ITERATIONS} steps")


def _log_likelihood(share, holds, mass) -> np.ndarray:
    """Per observation, shape (n_fits,)."""
    chance = mass @ holds.T
    return np.where(share > 0, share * np.log(np.where(share > 0, chance, 1.0)), 0.0).sum(axis=1)
