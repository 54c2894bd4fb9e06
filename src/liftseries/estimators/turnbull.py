"""Survival from times known only to lie in intervals, without a model: Turnbull's estimate.

The likelihood says how much mass lies in each innermost interval and nothing of where in it. Equal intervals are
collapsed with their weights, so that many resamples are fitted side by side.
"""

from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import NotFitted

EM_ITERATIONS = 150
NEWTON_ITERATIONS = 100
GIVEN_UP = 1.0  # observations: a mass below this that ought to shrink is left out of a Newton step
STAY = 1e-6  # weight of staying, against that of a mean observation: it slows no step that matters
ENTRIES_AT_ONCE = 30_000  # of the fits that go side by side: more of them leave the processor's cache
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
    """What observed intervals hold: which innermost intervals lie in each. Those that hold the same are one.

    Attributes
    ----------
    first, last : shape (n_distinct,)
        The innermost intervals from `first` to before `last` are held; `first` rises.
    which : shape (n,), which of the distinct ones each observation is
    left, right : shape (m,), innermost intervals
    """

    first: np.ndarray
    last: np.ndarray
    which: np.ndarray
    left: np.ndarray
    right: np.ndarray

    def __len__(self) -> int:
        return len(self.first)

    @property
    def holds(self) -> np.ndarray:
        """The same as a matrix, shape (n_distinct, m), 0 or 1."""
        number = np.arange(len(self.left))
        return ((number >= self.first[:, None]) & (number < self.last[:, None])).astype(float)


def innermost(left: np.ndarray, right: np.ndarray) -> Intervals:
    """The intervals that can carry mass: from a left end to the next right end with no left end between.

    Parameters
    ----------
    left, right : shape (n,)
        (left, right] holds the time; equal where it is known; right infinite where nothing happened yet.
    """
    left, right = np.asarray(left, float), np.asarray(right, float)
    left = np.where(left == right, left - AT_A_TIME, left)
    starts, ends = np.unique(left), np.unique(right)
    before = np.searchsorted(starts, ends, side="left") - 1  # the last start below each end
    p, q = starts[before], ends
    between = np.searchsorted(ends, p, side="right") < np.arange(len(ends))  # an earlier end lies above that start
    p, q = p[~between], q[~between]
    # An observation holds the innermost intervals from `first` to before `last`.
    first, last = np.searchsorted(p, left, side="left"), np.searchsorted(q, right, side="right")
    distinct, which = np.unique(first * (len(p) + 1) + last, return_inverse=True)
    first, last = np.divmod(distinct, len(p) + 1)
    return Intervals(first, last, which, p, q)


def turnbull(intervals: Intervals, weights: np.ndarray, tolerance: float = 1e-11) -> Turnbull:
    """Fit to the conditions that hold at the maximum alone: by EM with its steps extrapolated, then by Newton's method.

    EM settles most fits, all side by side. Where a mass fades only slowly it would never end; there constrained Newton
    steps take over.

    Parameters
    ----------
    intervals : as `innermost` gives it
    weights : shape (n_fits, n_distinct)
        How often each distinct interval stands in each fit.
    tolerance : largest change of any mass in an EM step at which a fit has settled
        A hundred times this is the most by which one more observation in any innermost interval could still raise the
        log-likelihood of a mean observation.

    Returns
    -------
    Turnbull
        Where the likelihood leaves the split of mass between intervals open, the split is that which EM reaches from
        equal masses.

    Raises
    ------
    NotFitted
        The algorithm does not settle.

    Source: Turnbull 1976, doi:10.1111/j.2517-6161.1976.tb01597.x; conditions: Gentleman and Geyer 1994,
    doi:10.1093/biomet/81.3.618; extrapolation: Varadhan and Roland 2008, doi:10.1111/j.1467-9469.2007.00585.x; Newton
    steps: Wang 2007, doi:10.1111/j.1467-9868.2007.00583.x (all from memory).
    """
    weights = np.atleast_2d(np.asarray(weights, float))
    share = weights / weights.sum(axis=1, keepdims=True)
    held = _Held(intervals)
    at_once = max(1, ENTRIES_AT_ONCE // len(intervals))
    parts = [_em(share[first : first + at_once], held, tolerance) for first in range(0, len(share), at_once)]
    mass, settled = (np.concatenate(part) for part in zip(*parts, strict=True))
    if not settled.all():
        holds = intervals.holds
        for fit in np.flatnonzero(~settled):
            mass[fit] = _newton(share[fit], holds, mass[fit], tolerance)
    log_likelihood = _log_likelihood(share, held.chance(mass)) * weights.sum(axis=1)
    return Turnbull(intervals.left, intervals.right, mass, log_likelihood)


class _Held:
    """Sums over what is held: innermost intervals of an observation lie side by side, so that sums are running ones."""

    def __init__(self, intervals: Intervals):
        self.first, self.last, self.m = intervals.first, intervals.last, len(intervals.left)
        # Of each innermost interval how many observations begin at it or before, and how many have ended.
        number = np.arange(self.m)
        self.by_end = np.argsort(self.last, kind="stable")
        self.begun = np.searchsorted(self.first, number, side="right")
        self.ended = np.searchsorted(self.last[self.by_end], number, side="right")

    def chance(self, mass: np.ndarray) -> np.ndarray:
        """The mass that each observation holds, shape (n_fits, n_distinct)."""
        so_far = _running(mass)
        return so_far[:, self.last] - so_far[:, self.first]

    def gradient(self, share: np.ndarray, chance: np.ndarray) -> np.ndarray:
        """By which factor an EM step changes each mass: 1 where there is mass at the maximum, at most 1 elsewhere."""
        # An interval that no resampled patient brought may end up without mass; it asks for none.
        asks = share / np.where(share > 0, chance, 1.0)
        return _running(asks)[:, self.begun] - _running(asks[:, self.by_end])[:, self.ended]


def _running(values: np.ndarray) -> np.ndarray:
    """Running sums along the last axis, from 0 on."""
    total = np.zeros((len(values), values.shape[1] + 1))
    np.cumsum(values, axis=1, out=total[:, 1:])
    return total


def _em(share: np.ndarray, held: _Held, tolerance: float) -> tuple[np.ndarray, np.ndarray]:
    """Masses of each fit by EM from equal ones, its steps extrapolated, shape (n_fits, m); and which have settled."""
    # Fits that have settled are put aside; `share` holds those that have not, in their order.
    n_fits = len(share)
    result, left = np.empty((n_fits, held.m)), np.arange(n_fits)
    mass = np.full((n_fits, held.m), 1 / held.m)
    gradient = held.gradient(share, held.chance(mass))
    for _ in range(EM_ITERATIONS):
        first = mass * gradient
        second = first * held.gradient(share, held.chance(first))
        leap = _leap(mass, first, second)
        chances = held.chance(leap), held.chance(second)
        with np.errstate(divide="ignore", invalid="ignore"):
            better = (_log_likelihood(share, chances[0]) >= _log_likelihood(share, chances[1]))[:, None]
        mass = np.where(better, leap, second)
        gradient = held.gradient(share, np.where(better, *chances))
        settled = _settled(mass, gradient, tolerance)
        if settled.any():
            result[left[settled]] = mass[settled]
            left, mass, share, gradient = left[~settled], mass[~settled], share[~settled], gradient[~settled]
        if not len(left):
            break
    result[left] = mass
    return result, ~np.isin(np.arange(n_fits), left)


def _leap(mass: np.ndarray, first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Where two EM steps point to, shape (n_fits, m); the second step itself where that has no meaning."""
    r, v = first - mass, second - 2 * first + mass
    norm = np.sqrt((v**2).sum(axis=1, keepdims=True))
    length = np.maximum(np.sqrt((r**2).sum(axis=1, keepdims=True)) / np.maximum(norm, 1e-14), 1.0)
    leap = np.where(norm > 1e-14, mass + 2 * length * r + length**2 * v, second)
    allowed = (leap >= 0).all(axis=1) & np.isfinite(leap).all(axis=1)
    leap = np.where(allowed[:, None], leap, second)
    return leap / leap.sum(axis=1, keepdims=True)


def _settled(mass, gradient, tolerance) -> np.ndarray:
    """Shape (n_fits,), true/false. A mass near 0 hardly changes even where it ought to grow, hence both conditions."""
    still = np.abs(mass * (gradient - 1)).max(axis=-1) < tolerance
    return still & (gradient.max(axis=-1) < 1 + 100 * tolerance)


def _newton(share: np.ndarray, holds: np.ndarray, mass: np.ndarray, tolerance: float) -> np.ndarray:
    """The masses of one fit, shape (m,): the log-likelihood's quadratic is maximised over masses ≥ 0 of sum 1.

    With S the slopes of each log chance, the quadratic is -Σ share (S p - 2)² / 2, so that each step is a problem of
    least squares. STAY keeps masses where they are when the likelihood does not care. A mass next to nothing that ought
    to shrink is given up for a step. Where that was wrong it ought to grow at the next; after a step that had to be
    halved fewer are given up.
    """
    from scipy.optimize import nnls

    told = share > 0
    holds, share = holds[told], share[told]
    root, chance = np.sqrt(share), holds @ mass
    value = _log_likelihood(share, chance)
    least = GIVEN_UP * share.min()
    for _ in range(NEWTON_ITERATIONS):
        gradient = (share / chance) @ holds
        if _settled(mass, gradient, tolerance):
            return mass
        kept = np.flatnonzero((mass > least) | (gradient >= 1))
        k = len(kept)
        slopes = holds[:, kept] / chance[:, None]
        rows = [root[:, None] * (slopes - 2), STAY * (np.eye(k) - mass[kept, None]), np.ones((1, k))]
        # Orthogonal turns leave the least squares as they are, in as many rows as there are masses.
        triangle = np.linalg.qr(np.column_stack([np.vstack(rows), np.r_[np.zeros(len(share) + k), 1.0]]), mode="r")
        target = np.zeros(len(mass))
        target[kept] = nnls(triangle[:, :-1], triangle[:, -1])[0]
        step = whole = target / target.sum() - mass
        for _ in range(40):
            trial = mass + step
            chance = holds @ trial
            with np.errstate(divide="ignore", invalid="ignore"):
                trial_value = _log_likelihood(share, chance)
            if trial_value >= value - 1e-15 * abs(value):
                break
            step = step / 2
        mass, value = trial, trial_value
        least = least if step is whole else least / 10
    raise NotFitted(remark("turnbull_not_settled", n_steps=EM_ITERATIONS + NEWTON_ITERATIONS))


def _log_likelihood(share: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """Per observation, of each fit."""
    return (share * np.log(np.where(share > 0, chance, 1.0))).sum(axis=-1)
