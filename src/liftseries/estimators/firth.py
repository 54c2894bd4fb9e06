"""Firth's penalty: half the log determinant of the information keeps estimates finite and takes off their bias.

What logistic and Cox models share is here: the maximum of a penalised likelihood and its profile; and the logistic
likelihood itself.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.special import expit, log_expit

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import NotFitted, critical_value, two_sided_p

MAX_ITERATIONS = 500
SETTLED = 1e-11  # a step this small, in standard errors, ends the search
ROUNDING = 1e-7  # and so does one this small that no longer shrinks
SLOW = 0.1  # steps that shrink by less than this a time ask for the likelihood's own curvature
DIFFERENCE = 1e-5  # standard errors between the two scores whose difference is a curvature
LEAST_BEND = 1e-3  # of the information: a flatter likelihood is no hill to climb by Newton's method
LIMIT_SETTLED = 1e-9  # standard errors
MOST_PROFILE_STEPS = 60
SINGULAR = 1e-7  # smallest pivot of the information, its diagonal scaled to 1
FARTHEST_LIMIT = 60.0  # standard errors from the estimate at which the search for a limit ends


@dataclass(frozen=True)
class Point:
    """A penalised likelihood at one β: its logarithm (-inf where the information is singular) and gradient (p,).

    `information`, shape (p, p), is what standard errors come from.
    """

    value: float
    score: np.ndarray
    information: np.ndarray


Likelihood = Callable[[np.ndarray], Point]


@dataclass(frozen=True)
class FirthFit:
    """A penalised fit.

    Attributes
    ----------
    coefficients, std_error : shape (p,)
    conf_low, conf_high : shape (p,)
        Where twice the profile penalised log-likelihood lies χ²(1) below its maximum; NaN where it never does.
    p_value : shape (p,)
        Penalised likelihood ratio.
    log_likelihood : penalised
    covariance : shape (p, p), whose diagonal gives std_error
    """

    coefficients: np.ndarray
    std_error: np.ndarray
    conf_low: np.ndarray
    conf_high: np.ndarray
    p_value: np.ndarray
    log_likelihood: float
    covariance: np.ndarray


def firth_logistic(x: np.ndarray, event: np.ndarray, profile: bool = True, trials: np.ndarray | float = 1) -> FirthFit:
    """Fit a logistic model with Firth's penalty.

    Parameters
    ----------
    x : shape (n, p)
        Of full column rank.
    event : shape (n,), true/false, or how many events of the trials
    profile : whether limits and p-values are worked out, NaN otherwise
    trials : shape (n,), how many sites share a row of `x`

    Returns
    -------
    FirthFit
        std_error from the information with weights 1 + h, h the leverages, as R's `logistf` prints it.

    Raises
    ------
    NotFitted
        The likelihood has no maximum that could be found.

    Source: Firth 1993, doi:10.1093/biomet/80.1.27; Heinze and Schemper 2002, doi:10.1002/sim.1047.
    """
    y = np.asarray(event, float)
    return penalised_fit(lambda z: lambda beta: penalised_logistic(z, y, trials, beta), x, profile)


def penalised_logistic(x: np.ndarray, y: np.ndarray, trials: np.ndarray | float, beta: np.ndarray) -> Point:
    """The logistic likelihood with the penalty; arguments as of `firth_logistic`."""
    eta = x @ beta
    pi = expit(eta)
    weight = trials * (pi * (1 - pi))
    log_det, inverse = log_det_and_inverse((x * weight[:, None]).T @ x)
    leverage = weight * np.einsum("ni,ni->n", x @ inverse, x)  # of all trials of a row
    return Point(
        value=float((y * eta + trials * log_expit(-eta)).sum() + log_det / 2),
        score=x.T @ (y - trials * pi + leverage * (0.5 - pi)),
        information=(x * (weight * (1 + leverage / trials))[:, None]).T @ x,
    )


def penalised_fit(likelihood_of: Callable[[np.ndarray], Likelihood], x: np.ndarray, profile: bool) -> FirthFit:
    """Fit, limits and p-values of the likelihood that `likelihood_of` makes of columns such as those of `x`."""
    p = x.shape[1]
    z, back = orthonormal(x)
    likelihood = likelihood_of(z)
    beta, at = maximum(likelihood, np.zeros(p))
    if (way := off_the_saddle(likelihood, beta, at)) is not None:
        beta, at = maximum(likelihood, beta + way)
    coefficients = back @ beta
    covariance = back @ np.linalg.inv(at.information) @ back.T
    std_error = np.sqrt(np.diag(covariance))
    low, high, p_value = np.full((3, p), np.nan)
    for j in range(p) if profile else ():
        low[j], high[j], p_value[j] = profile_of(likelihood_of, x, coefficients, j)
    # log|X'WX| of the caller's columns differs from that of the orthonormal ones by twice this.
    shift = np.log(np.abs(np.diag(back))).sum()
    return FirthFit(coefficients, std_error, low, high, p_value, float(at.value - shift), covariance)


def orthonormal(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Columns that span the same, each of mean square 1, so that no step depends on the covariates' units.

    Also the upper triangular matrix, shape (p, p), that turns their coefficients into those of `x`.
    """
    n, p = x.shape
    q, r = np.linalg.qr(x)
    return q * np.sqrt(n), solve_triangular(r, np.eye(p)) * np.sqrt(n)


def log_det_and_inverse(information: np.ndarray) -> tuple[float, np.ndarray]:
    """Log determinant and inverse of an information matrix; -inf and NaN where it is singular."""
    scale = np.sqrt(np.maximum(np.diag(information), 0.0))
    if (scale > 0).all() and np.isfinite(scale).all():
        try:
            factor = np.linalg.cholesky(information / np.outer(scale, scale))
        except np.linalg.LinAlgError:
            factor = np.zeros_like(information)
        if np.diag(factor).min() > SINGULAR:
            return float(2 * np.log(np.diag(factor) * scale).sum()), np.linalg.inv(information)
    return -np.inf, np.full_like(information, np.nan)


def maximum(
    likelihood: Likelihood,
    start: np.ndarray,
    free: np.ndarray | None = None,
    bend: np.ndarray | None = None,
    settled: float = SETTLED,
) -> tuple[np.ndarray, Point]:
    """The β that maximises a penalised likelihood over its free coefficients, by Newton's method with halved steps.

    The information stands for the curvature as long as the steps shrink quickly. With a handful of events the penalty
    bends the likelihood as much as the data do (with one event the steps would turn back on themselves for ever); then
    the curvature is that of the likelihood itself, or `bend` where that is given and good enough.

    Raises NotFitted where the steps do not settle.
    """
    beta = np.array(start, float)
    free = np.ones(len(beta), bool) if free is None else free
    at = likelihood(beta)
    if not np.isfinite(at.value):
        raise NotFitted(remark("terms_alike"))
    if not free.any():
        return beta, at
    size = np.inf
    for _ in range(MAX_ITERATIONS):
        information = at.information[np.ix_(free, free)]
        try:
            step = np.linalg.solve(information if bend is None else bend, at.score[free])
        except np.linalg.LinAlgError:
            break
        last, size = size, step @ information @ step  # squared length in standard errors, whatever the columns' units
        if not np.isfinite(size):
            break
        # Rounding keeps the steps of a large series from shrinking for ever.
        if size < settled**2 or (size < ROUNDING**2 and size >= last / 4):
            return beta, at
        if size > SLOW**2 * last:
            bend = curvature(likelihood, beta, at, free)
            step = step if bend is None else np.linalg.solve(bend, at.score[free])
        for _ in range(40):
            trial = beta.copy()
            trial[free] += step
            there = likelihood(trial)
            if there.value >= at.value - 1e-12 * (1 + abs(at.value)):
                break
            step = step / 2
        else:
            break
        beta, at = trial, there
    raise NotFitted(remark("no_maximum_penalised"))


def second_derivatives(likelihood: Likelihood, beta: np.ndarray, at: Point, free: np.ndarray) -> np.ndarray:
    """Minus the likelihood's second derivatives by the free coefficients, from differences of the score."""
    columns = []
    for j in np.flatnonzero(free):
        moved = beta.copy()
        moved[j] += DIFFERENCE / np.sqrt(at.information[j, j])
        columns.append((at.score - likelihood(moved).score)[free] / (moved[j] - beta[j]))
    bend = np.array(columns)
    return (bend + bend.T) / 2


def curvature(likelihood: Likelihood, beta: np.ndarray, at: Point, free: np.ndarray) -> np.ndarray | None:
    """`second_derivatives` where they are those of a hill, else None."""
    bend = second_derivatives(likelihood, beta, at, free)
    scale = 1 / np.sqrt(np.diag(at.information)[free])
    if not np.isfinite(bend).all() or np.linalg.eigvalsh(bend * np.outer(scale, scale))[0] < LEAST_BEND:
        return None
    return bend


def off_the_saddle(likelihood: Likelihood, beta: np.ndarray, at: Point) -> np.ndarray | None:
    """Half a standard error along which the likelihood rises from where its slope is zero; None at a maximum.

    With two or three events a penalised likelihood can have two maxima, and a search may end between them.
    """
    scale = 1 / np.sqrt(np.diag(at.information))
    bend = second_derivatives(likelihood, beta, at, np.ones(len(beta), bool)) * np.outer(scale, scale)
    if not np.isfinite(bend).all():
        return None
    values, directions = np.linalg.eigh(bend)
    return None if values[0] > -LEAST_BEND else directions[:, 0] * scale / 2


def profile_of(likelihood_of, x: np.ndarray, coefficients: np.ndarray, j: int) -> tuple[float, float, float]:
    """Profile limits and likelihood-ratio p-value of coefficient j; NaN for what is not found.

    With column j the last to be made orthogonal, its coefficient is the last of the orthonormal ones but for a factor,
    and to hold the one is to hold the other.
    """
    order = np.r_[np.delete(np.arange(len(coefficients)), j), j]
    z, back = orthonormal(x[:, order])
    likelihood, factor = likelihood_of(z), back[-1, -1]
    beta = np.linalg.solve(back, coefficients[order])
    at = likelihood(beta)
    towards = np.sign(factor) * np.sqrt(np.linalg.inv(at.information)[-1, -1])
    low, high = (factor * profile_limit(likelihood, beta, at.value, side * towards) for side in (-1, 1))
    try:
        without = maximum(likelihood, np.r_[beta[:-1], 0.0], np.arange(len(beta)) < len(beta) - 1)[1]
    except NotFitted:
        return low, high, np.nan
    return low, high, two_sided_p(np.sqrt(2 * max(at.value - without.value, 0.0)))


def profile_limit(likelihood: Likelihood, beta: np.ndarray, top: float, std_error: float) -> float:
    """Where the profile of the last coefficient lies half the χ²(1) quantile below `top`; NaN where that is not found.

    The root of twice the drop is close to a straight line in the coefficient, so Newton's method on it needs a handful
    of steps; a bracket keeps it from running off. `std_error` is negative for the lower limit.
    """
    target = critical_value()
    free = np.arange(len(beta)) < len(beta) - 1
    inside, outside = 0.0, np.inf
    reach = target  # in standard errors
    held = beta.copy()
    for _ in range(MOST_PROFILE_STEPS):
        held[-1] = beta[-1] + reach * std_error
        try:
            held, at = maximum(likelihood, held, free)
        except NotFitted:
            return np.nan
        root = np.sqrt(2 * max(top - at.value, 0.0))
        inside, outside = (reach, outside) if root < target else (inside, reach)
        slope = -at.score[-1] * std_error / root if root > 0 else 0.0
        further = reach + (target - root) / slope if slope > 0 else np.nan
        if abs(further - reach) < LIMIT_SETTLED:
            return float(beta[-1] + further * std_error)
        if not inside < further < outside or further > 3 * reach:
            further = (inside + outside) / 2 if np.isfinite(outside) else 2 * reach
        if further > FARTHEST_LIMIT:
            return np.nan
        reach = further
    return np.nan
