"""Counts of units whose log odds are normal: maximum likelihood by adaptive Gauss-Hermite quadrature.

    x_u of n_u,  logit p_u = μ + τ z_u

Each unit's integral is centred on the peak of its own integrand and scaled by the curvature there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize
from scipy.special import expit, logit, stdtr, stdtrit

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted

POINTS = 25
NODES, WEIGHTS = np.polynomial.hermite.hermgauss(POINTS)
MOST_STEPS, SETTLED = 200, 1e-13
SMALLEST_SD = 1e-4  # a smaller τ is 0
STARTS = (0.2, 1.0)
GRID = 2001


@dataclass(frozen=True)
class LogisticNormal:
    """The model of some units.

    Attributes
    ----------
    mean : μ, log odds
    std_error : of μ, from the curvature in μ and τ together
    sd : τ
    log_likelihood : without the binomial coefficients
    n_units
    """

    mean: float
    std_error: float
    sd: float
    log_likelihood: float
    n_units: int

    def prediction(self) -> tuple[float, float]:
        """Risks between which a further unit's lies: expit(μ ± t(U - 2) √(τ² + se²)); NaN below three units."""
        if self.n_units < 3:
            return np.nan, np.nan
        half = stdtrit(self.n_units - 2, (1 + CONF_LEVEL) / 2) * np.hypot(self.sd, self.std_error)
        return float(expit(self.mean - half)), float(expit(self.mean + half))

    def place_of(self, risk: float) -> float:
        """The share of further units below a risk."""
        if not 0 < risk < 1:
            return float(risk >= 1)
        return float(stdtr(self.n_units - 2, (logit(risk) - self.mean) / np.hypot(self.sd, self.std_error)))


def logistic_normal(events: np.ndarray, sites: np.ndarray) -> LogisticNormal:
    """Fit μ and τ.

    Parameters
    ----------
    events, sites : shape (n_units,), above 0 sites; need not be whole numbers

    Raises
    ------
    NotFitted
        No event, nothing but events, or fewer than two units.

    Source: Pinheiro and Bates 1995, doi:10.1080/10618600.1995.10474663 (adaptive quadrature); the binomial-normal model
    of Stijnen and others 2010, doi:10.1002/sim.4040.
    """
    x, n = np.asarray(events, float), np.asarray(sites, float)
    if len(x) < 2:
        raise NotFitted(remark("too_few_units"))
    if x.sum() <= 0 or x.sum() >= n.sum():
        raise NotFitted(remark("no_event" if x.sum() <= 0 else "all_events"))
    pooled = logit(x.sum() / n.sum())
    at_zero = _log_likelihood(x, n, pooled, 0.0)

    def minus(theta) -> float:
        return -_log_likelihood(x, n, theta[0], np.exp(min(theta[1], 5.0)))

    options = {"xatol": 1e-10, "fatol": 1e-13, "maxiter": 4000, "maxfev": 4000}
    found = [minimize(minus, [pooled, np.log(sd)], method="Nelder-Mead", options=options) for sd in STARTS]
    best = min(found, key=lambda one: one.fun)
    sd = float(np.exp(min(best.x[1], 5.0)))
    if sd < SMALLEST_SD or -best.fun <= at_zero + 1e-10:
        information = (n * expit(pooled) * expit(-pooled)).sum()
        return LogisticNormal(float(pooled), float(information**-0.5), 0.0, at_zero, len(x))
    mean = float(best.x[0])
    information = -_second_derivatives(lambda m, s: _log_likelihood(x, n, m, s), mean, sd)
    variance = np.linalg.inv(information)[0, 0]
    if not variance > 0:
        raise NotFitted(remark("likelihood_not_settled", n_steps=MOST_STEPS))
    return LogisticNormal(mean, float(np.sqrt(variance)), sd, float(-best.fun), len(x))


def posterior(model: LogisticNormal, events: np.ndarray, sites: np.ndarray) -> np.ndarray:
    """Each unit's posterior mean of its risk and the 2.5 and 97.5 % quantiles; shape (n_units, 3).

    The mean by the same quadrature; quantiles from the integral of the density over a grid of ten standard deviations.
    """
    x, n = np.asarray(events, float), np.asarray(sites, float)
    if model.sd == 0:
        return np.repeat(expit(model.mean), 3 * len(x)).reshape(-1, 3)
    peak, spread = _peaks(x, n, model.mean, model.sd)
    eta = peak[:, None] + np.sqrt(2) * spread[:, None] * NODES
    logs = _integrand(x, n, model.mean, model.sd, eta) + NODES**2 + np.log(WEIGHTS)
    weight = np.exp(logs - logs.max(axis=1, keepdims=True))
    found = [(weight * expit(eta)).sum(axis=1) / weight.sum(axis=1)]
    for area in ((1 - CONF_LEVEL) / 2, (1 + CONF_LEVEL) / 2):
        found.append(expit([_quantile(*one, model, area) for one in zip(x, n, peak, spread, strict=True)]))
    return np.column_stack(found)


def _quantile(x: float, n: float, peak: float, spread: float, model: LogisticNormal, area: float) -> float:
    """Where the posterior of a unit's log odds has so much of its area below."""
    eta = np.linspace(peak - 12 * spread, peak + 12 * spread, GRID)
    logs = _integrand(np.array([x]), np.array([n]), model.mean, model.sd, eta[None, :])[0]
    density = np.exp(logs - logs.max())
    # Simpson's rule over pairs of steps, then the root within the step by the same parabola.
    step = eta[1] - eta[0]
    parts = step / 3 * (density[:-2:2] + 4 * density[1:-1:2] + density[2::2])
    below = np.r_[0.0, np.cumsum(parts)] / parts.sum()
    j = int(np.clip(np.searchsorted(below, area) - 1, 0, len(parts) - 1))
    a, b, c = density[2 * j : 2 * j + 3] / parts.sum()

    def passed(t: float) -> float:  # the integral of the parabola through the three points, t in steps
        slope, bend = (-3 * a + 4 * b - c) / 2, (a - 2 * b + c) / 2
        return below[j] + step * (a * t + slope * t**2 / 2 + bend * t**3 / 3) - area

    return float(eta[2 * j] + step * brentq(passed, 0.0, 2.0, xtol=1e-14))


def _integrand(x, n, mean, sd, eta) -> np.ndarray:
    """Log of likelihood times density at log odds `eta`, shape (n_units, n_points)."""
    return (
        x[:, None] * eta
        - n[:, None] * np.logaddexp(0.0, eta)
        - ((eta - mean) / sd) ** 2 / 2
        - np.log(sd)
        - np.log(2 * np.pi) / 2
    )


def _peaks(x, n, mean, sd) -> tuple[np.ndarray, np.ndarray]:
    """Where each unit's integrand peaks, and the standard deviation of the normal curve of its curvature there."""
    eta = np.full(len(x), float(mean))
    for _ in range(MOST_STEPS):
        risk = expit(eta)
        curvature = n * risk * (1 - risk) + sd**-2
        step = (x - n * risk - (eta - mean) / sd**2) / curvature
        eta = eta + np.clip(step, -1.0, 1.0)
        if np.abs(step).max() < SETTLED:
            break
    risk = expit(eta)
    return eta, (n * risk * (1 - risk) + sd**-2) ** -0.5


def _log_likelihood(x, n, mean, sd) -> float:
    if sd == 0:
        return float((x * mean - n * np.logaddexp(0.0, mean)).sum())
    peak, spread = _peaks(x, n, mean, sd)
    eta = peak[:, None] + np.sqrt(2) * spread[:, None] * NODES
    logs = _integrand(x, n, mean, sd, eta) + NODES**2 + np.log(WEIGHTS)
    top = logs.max(axis=1)
    return float((top + np.log(np.exp(logs - top[:, None]).sum(axis=1)) + np.log(np.sqrt(2) * spread)).sum())


def _second_derivatives(function, mean: float, sd: float) -> np.ndarray:
    """Of a function of μ and τ, by central differences of fourth order on the diagonal; shape (2, 2)."""
    h, k = 1e-3, 1e-3 * sd
    f = function

    def second(at) -> float:
        return (-at(2) + 16 * at(1) - 30 * at(0) + 16 * at(-1) - at(-2)) / 12

    both = (f(mean + h, sd + k) - f(mean + h, sd - k) - f(mean - h, sd + k) + f(mean - h, sd - k)) / (4 * h * k)
    return np.array(
        [
            [second(lambda j: f(mean + j * h, sd)) / h**2, both],
            [both, second(lambda j: f(mean, sd + j * k)) / k**2],
        ]
    )
