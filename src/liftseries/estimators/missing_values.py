"""Missing values of a variable drawn from a model of its known ones.

A number gets the value of a unit with about the same prediction, a level is drawn by a logistic model under a weak
normal prior. Coefficients are drawn by the Cholesky factor of their information, which is one: no draw hangs on which
way a library lets directions point.

Source: predictive mean matching: Little 1988, doi:10.2307/1391878; the prior, which keeps separated levels finite: as
in Gelman and others 2008, doi:10.1214/08-AOAS191.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, lstsq, solve_triangular
from scipy.special import expit

from liftseries.estimators.predictors import Off, Predictors

DONORS = 5
PRIOR_SD = 2.5  # of a log odds per standard deviation: so weak that only a separated level feels it
NO_SPREAD = 1e-9  # of the largest variance: a direction with less is rounding
TIE = 1e-9  # predictions that differ by less, relatively, are the same
MOST_STEPS, SMALLEST_STEP = 50, 1e-8


def drawn_numbers(known: Predictors, y: np.ndarray, missing: Predictors, rng: np.random.Generator) -> np.ndarray:
    """Values of donors whose prediction lies near that of each missing one, shape (m,).

    The prior, in residual standard deviations, is felt only where there are about as many predictors as known values.

    Parameters
    ----------
    known, missing : of n and m units
    y : shape (n,), the known values
    """
    around = _Around.of(known)
    off = y - y.mean()
    factor = cho_factor(around.squares + np.diag(around.precision), lower=True)
    beta = cho_solve(factor, around.x.sums(off))
    df = max(len(y) - np.trace(cho_solve(factor, around.squares)), 1.0)
    predicted = around.x.predicted(beta)
    sigma = np.sqrt(((off - predicted) ** 2).sum() / rng.chisquare(df))
    drawn = beta + sigma * around.normal(factor, rng)
    return y[_donors(predicted, missing.off(around.centre).predicted(drawn), rng)]


def drawn_odds(
    known: Predictors, has: np.ndarray, missing: Predictors, rng: np.random.Generator, start: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """The chance of each missing one to have a level, by coefficients drawn from their approximate posterior.

    Parameters
    ----------
    known, missing : of n and m units
    has : shape (n,), true/false
    start : shape (1 + q,), coefficients from which the search for the likeliest begins; it ends at the same ones

    Returns
    -------
    chance : shape (m,)
    likeliest : shape (1 + q,), of a constant and the predictors
    """
    around = _Around.of(known)
    y, precision = has.astype(float), around.precision
    beta = np.zeros(len(precision)) if start is None else around.at_centre(start)
    for _ in range(MOST_STEPS):
        risk = (1 + np.tanh(around.x.predicted(beta) / 2)) / 2  # several times as fast as expit
        information = around.x.squares(risk * (1 - risk)) + np.diag(precision)
        factor = cho_factor(information, lower=True)
        step = cho_solve(factor, around.x.sums(y - risk) - precision * beta)
        beta = beta + step / max(1.0, np.abs(step).max() / 2)
        if np.abs(step).max() < SMALLEST_STEP:
            break
    drawn = beta + around.normal(factor, rng)
    return expit(missing.off(around.centre).predicted(drawn)), around.at_nought(beta)


@dataclass(frozen=True)
class _Around:
    """Known units about their means.

    What does not vary among the known (a centre that never recorded the variable) tells nothing of it: a coefficient
    drawn for it would send all the missing ones anywhere, together. The likeliest has none, whose prior alone it is.

    Attributes
    ----------
    centre : shape (q,)
    x : what they are off it
    squares : shape (1 + q, 1 + q), of `x`
    precision : shape (1 + q,), of the coefficients' prior, the constant first, which is freer
    """

    centre: np.ndarray
    x: Off
    squares: np.ndarray
    precision: np.ndarray

    @classmethod
    def of(cls, known: Predictors) -> "_Around":
        centre = known.means()
        x = known.off(centre)
        precision = np.r_[1 / (4 * PRIOR_SD) ** 2, np.full(len(centre), 1 / PRIOR_SD**2)]
        return cls(centre, x, x.squares(), precision)

    def normal(self, factor: tuple[np.ndarray, bool], rng: np.random.Generator) -> np.ndarray:
        """Coefficients about nought, shape (1 + q,), drawn by the lower Cholesky factor of their information.

        Without what does not vary: of all that predict the same at the known units, the shortest.
        """
        drawn = solve_triangular(factor[0], rng.standard_normal(len(self.precision)), lower=True, trans="T")
        spread = self.squares / self.squares[0, 0]
        return lstsq(spread, spread @ drawn, cond=NO_SPREAD, lapack_driver="gelsy")[0]

    def at_centre(self, coefficients: np.ndarray) -> np.ndarray:
        """Coefficients whose constant stands at nought, moved to the means."""
        return np.r_[coefficients[0] + coefficients[1:] @ self.centre, coefficients[1:]]

    def at_nought(self, coefficients: np.ndarray) -> np.ndarray:
        """The way back."""
        return np.r_[coefficients[0] - coefficients[1:] @ self.centre, coefficients[1:]]


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
