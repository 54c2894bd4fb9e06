"""What an estimate and its interval tell of the counts behind them, by trying every count that there could be.

Integer programmes know sums of counts; a curve, an exact interval or a p beside its interval are no sums. Each function
gives what a reader cannot exclude, all printed numbers taken as rounded.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from scipy.special import stdtr, stdtrit

Range = tuple[float, float]


def failures_between(before: float, after: float, at_risk: tuple[float, float], half_digit: float) -> Range:
    """Fewest and most failures between two months at which survival is printed.

    Each failure alone takes survival down by the factor 1 - 1 / n, with n at risk between the numbers at both ends; d
    at the same time by 1 - d / n, which is further down, and the product of such factors is at least 1 less all d / n.
    Whoever failed is no longer at risk, so that survival is highest where nobody is censored and it is 1 - D / n0:

        n1 (1 - S1 / S0)  ≤  D  ≤  n0 (1 - S1 / S0)

    Parameters
    ----------
    before, after : Kaplan-Meier survival at the two months, as printed
    at_risk : how many are at risk at the first month, and at the second, fewer
    half_digit : how far a printed survival may be from the full number

    Returns
    -------
    Whole numbers.
    """
    printed = ((value - half_digit, value + half_digit) for value in (before, after))
    return failures_within(*printed, at_risk)


def failures_within(before: Range, after: Range, at_risk: tuple[float, float]) -> Range:
    """The same where survival at each month is known to lie between two values.

    Parameters
    ----------
    before, after : survival at the two months, lowest and highest
    at_risk : as in `failures_between`
    """
    first, second = at_risk
    highest = min(1.0, after[1] / max(before[0], 1e-9))
    lowest = max(after[0], 0.0) / min(1.0, before[1])
    fewest = math.ceil(second * (1 - highest) - 1e-9)
    return max(fewest, 0), math.floor(first * (1 - lowest) + 1e-9)


def counts_agreeing(
    interval: Callable[[int, int], Sequence[float]],
    printed: Sequence[float],
    half_digit: float,
    most: int,
    share: Range = (0.0, 1.0),
) -> list[tuple[int, int]]:
    """Every x of n whose interval is the printed one; Wilson's, the exact one, a bound of one side.

    Parameters
    ----------
    interval : x, n -> the numbers that are printed of it, the share itself or its limits
    printed : the same, rounded
    half_digit : how far a printed number may be from the full one
    most : largest n that is tried
    share : what x / n can be, where that is known
    """
    told = np.asarray(printed, float)
    return [
        (x, n)
        for n in range(1, most + 1)
        for x in range(math.ceil(n * share[0] - 1e-9), math.floor(n * share[1] + 1e-9) + 1)
        if (np.abs(np.asarray(interval(x, n), float) - told) <= half_digit + 1e-12).all()
    ]


def degrees_of_freedom(estimate: Range, low: Range, high: Range, p: Range, most: int, level: float) -> Range:
    """Fewest and most degrees of freedom with which estimate, interval by t and p agree.

    The half width is t(df) standard errors and p = 2 T(-|estimate| / standard error, df), which together leave one df
    where nothing is rounded.

    Parameters
    ----------
    estimate, low, high, p : each from and to, for it is rounded; on the scale on which the interval is symmetric
    most : largest number of degrees of freedom that is tried
    level : of the interval

    Returns
    -------
    (nan, nan) where none agrees: the interval is no such one.
    """
    df = np.arange(1, most + 1, dtype=float)
    t = stdtrit(df, (1 + level) / 2)
    size = (0.0 if estimate[0] * estimate[1] <= 0 else min(map(abs, estimate))), max(map(abs, estimate))
    half = max((high[0] - low[1]) / 2, 1e-12), (high[1] - low[0]) / 2
    largest, smallest = 2 * stdtr(df, -size[0] * t / half[1]), 2 * stdtr(df, -size[1] * t / half[0])
    agrees = df[(largest >= p[0]) & (smallest <= p[1])]
    return (float(agrees[0]), float(agrees[-1])) if len(agrees) else (math.nan, math.nan)


def survival_within(estimate: Range, low: Range, high: Range) -> Range:
    """What survival can be, of which an interval is printed beside it that is symmetric on the log of its negative log.

    Parameters
    ----------
    estimate, low, high : each from and to, for it is rounded
    """
    ends = np.clip(np.array([low, high], float), 1e-9, 1 - 1e-9)
    middle = np.exp(-np.exp(np.log(-np.log(ends)).mean(axis=0)))
    return max(estimate[0], float(middle[0])), min(estimate[1], float(middle[1]))
