"""Missing values of a variable drawn from a model of its known ones.

A number gets the value of a unit with about the same prediction, a level is drawn by a logistic model under a weak
normal prior. Predictors are rows, shape (q, n). Coefficients are drawn by a symmetric root of their covariance: the
same whichever way the directions point in which predictors differ, which hangs on a library's last digits.

Source: predictive mean matching: Little 1988, doi:10.2307/1391878; the prior, which keeps separated levels finite: as
in Gelman and others 2008, doi:10.1214/08-AOAS191.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

DONORS = 5
PRIOR_SD = 2.5  # of a log odds per standard deviation: so weak that only a separated level feels it
NO_SPREAD = 1e-9  # variance below which a direction is rounding
TIE = 1e-9  # predictions that differ by less, relatively, are the same
MOST_STEPS, SMALLEST_STEP = 50, 1e-8


def drawn_numbers(known: np.ndarray, y: np.ndarray, missing: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Values of donors whose prediction lies near that of each missing one, shape (m,).

    The prior, in residual standard deviations, is felt only where there are about as many predictors as known values.

    Parameters
    ----------
    known, missing : shape (q, n) and (q, m), predictors
    y : shape (n,), the known values
    """
    around = _Around.of(known)
    x, off, basis = around.x, y - y.mean(), around.basis
    squares = basis.T @ (x @ x.T) @ basis
    covariance = np.linalg.inv(squares + _prior_precision(len(squares)))
    beta = covariance @ (basis.T @ (x @ off))
    df = max(len(y) - np.trace(covariance @ squares), 1.0)
    predicted = (basis @ beta) @ x
    sigma = np.sqrt(((off - predicted) ** 2).sum() / rng.chisquare(df))
    drawn = beta + sigma * around.normal(covariance, rng)
    return y[_donors(predicted, around.predicted(drawn, missing), rng)]


def drawn_odds(
    known: np.ndarray, has: np.ndarray, missing: np.ndarray, rng: np.random.Generator, start: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """The chance of each missing one to have a level, by coefficients drawn from their approximate posterior.

    Parameters
    ----------
    known, missing : shape (q, n) and (q, m), predictors
    has : shape (n,), true/false
    start : shape (1 + q,), coefficients from which the search for the likeliest begins; it ends at the same ones

    Returns
    -------
    chance : shape (m,)
    likeliest : shape (1 + q,), of a constant and the predictors
    """
    around = _Around.of(known)
    x, y, basis = around.x, has.astype(float), around.basis
    precision = _prior_precision(basis.shape[1])
    beta = np.zeros(len(precision)) if start is None else basis.T @ around.at_centre(start)
    for _ in range(MOST_STEPS):
        risk = (1 + np.tanh((basis @ beta) @ x / 2)) / 2  # several times as fast as expit
        weighted = x * np.sqrt(risk * (1 - risk))
        information = basis.T @ (weighted @ weighted.T) @ basis + precision
        step = np.linalg.solve(information, basis.T @ (x @ (y - risk)) - precision @ beta)
        beta = beta + step / max(1.0, np.abs(step).max() / 2)
        if np.abs(step).max() < SMALLEST_STEP:
            break
    drawn = beta + around.normal(np.linalg.inv(information), rng)
    return expit(around.predicted(drawn, missing)), around.at_nought(basis @ beta)


@dataclass(frozen=True)
class _Around:
    """The means of known units, and the directions in which they differ.

    What does not vary among the known (a centre that never recorded the variable) tells nothing of it: a coefficient
    drawn for it would send all the missing ones anywhere, together.

    Attributes
    ----------
    centre : shape (q,)
    x : shape (1 + q, n), what they are off the means, under a row of 1
    basis : shape (1 + q, p), of a constant and those directions
    """

    centre: np.ndarray
    x: np.ndarray
    basis: np.ndarray

    @classmethod
    def of(cls, known: np.ndarray) -> "_Around":
        centre = known.mean(axis=1)
        x = _off(known, centre)
        variances, directions = np.linalg.eigh(x[1:] @ x[1:].T / known.shape[1])
        kept = directions[:, variances > NO_SPREAD]
        basis = np.zeros((len(x), 1 + kept.shape[1]))
        basis[0, 0], basis[1:, 1:] = 1.0, kept
        return cls(centre, x, basis)

    def predicted(self, coefficients: np.ndarray, at: np.ndarray) -> np.ndarray:
        """By coefficients of `basis`, shape (p,), at other units, shape (q, m)."""
        return (self.basis @ coefficients) @ _off(at, self.centre)

    def normal(self, covariance: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Coefficients of `basis`, shape (p,), about nought with that covariance, shape (p, p)."""
        variances, directions = np.linalg.eigh(covariance)
        root = (directions * np.sqrt(np.maximum(variances, 0.0))) @ directions.T
        return root @ (self.basis.T @ rng.standard_normal(len(self.basis)))

    def at_centre(self, coefficients: np.ndarray) -> np.ndarray:
        """Coefficients whose constant stands at nought, moved to the means."""
        return np.r_[coefficients[0] + coefficients[1:] @ self.centre, coefficients[1:]]

    def at_nought(self, coefficients: np.ndarray) -> np.ndarray:
        """The way back."""
        return np.r_[coefficients[0] - coefficients[1:] @ self.centre, coefficients[1:]]


def _off(at: np.ndarray, centre: np.ndarray) -> np.ndarray:
    x = np.ones((1 + len(at), at.shape[1]))
    np.subtract(at, centre[:, None], out=x[1:])
    return x


def _prior_precision(p: int) -> np.ndarray:
    """Of p coefficients, the constant first, which is freer."""
    return np.diag(np.r_[1 / (4 * PRIOR_SD) ** 2, np.full(p - 1, 1 / PRIOR_SD**2)])


def _donors(predicted: np.ndarray, wanted: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """For each wanted prediction one of the DONORS with the nearest, or of those as near as the last of them.

    Predictors that are all categories give many units the same prediction; each must be able to become a donor.
    """
    order = np.argsort(predicted)
    predicted = predicted[order]
    n, n_donors = len(predicted), min(DONORS, len(predicted))
    width = min(2 * DONORS, n)
    start = np.clip(np.searchsorted(predicted, wanted) - DONORS, 0, n - width)
    distance = np.abs(predicted[start[:, None] + np.arange(width)] - wanted[:, None])
    reach = np.partition(distance, n_donors - 1, axis=1)[:, n_donors - 1]
    reach = reach + TIE * (np.abs(wanted) + reach)
    low = np.searchsorted(predicted, wanted - reach, side="left")
    high = np.searchsorted(predicted, wanted + reach, side="right")
    return order[low + (rng.random(len(wanted)) * (high - low)).astype(int)]
