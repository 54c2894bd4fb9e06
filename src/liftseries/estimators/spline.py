"""Restricted cubic splines: a curve that is cubic between its knots and straight beyond the outer ones."""

import numpy as np

# Quantiles at which knots stand; Harrell 2001, Regression Modeling Strategies, table 2.3 (from memory).
KNOT_QUANTILES = {3: (0.1, 0.5, 0.9), 4: (0.05, 0.35, 0.65, 0.95)}
SAME = 1e-6  # of the range seen: knots this close are one


def knots_of(x: np.ndarray, n_knots: int = 3) -> np.ndarray:
    """Knots at the usual quantiles of the values seen, shape (n_knots,); fewer where values repeat."""
    x = np.asarray(x, float)
    knots = np.quantile(x, KNOT_QUANTILES[n_knots])
    # (3.1 + 4.1) / 2 misses 3.6 by the last bit; the basis divides by the distance of its knots.
    return knots[np.r_[True, np.diff(knots) > SAME * np.ptp(x)]]


def restricted_cubic_spline(x: np.ndarray, knots: np.ndarray) -> np.ndarray:
    """Basis of a restricted cubic spline.

    Parameters
    ----------
    x : shape (n,)
    knots : shape (k,), rising, k ≥ 3

    Returns
    -------
    shape (n, k - 1)
        x itself, then the k - 2 columns that bend; over the squared distance of the outer knots, so that they have
        the unit of x.

    Source: Harrell 2001, equation 2.25 (from memory); equal to `rcspline.eval(norm = 2)` of R's Hmisc.
    """
    x, knots = np.asarray(x, float), np.asarray(knots, float)

    def cube(value):
        return np.maximum(value, 0) ** 3

    last, before = knots[-1], knots[-2]
    columns = [x]
    for knot in knots[:-2]:
        tail = cube(x - before) * (last - knot) - cube(x - last) * (before - knot)
        columns.append((cube(x - knot) - tail / (last - before)) / (last - knots[0]) ** 2)
    return np.column_stack(columns)
