"""Weights that make groups alike in what a propensity model knows, and means under them with their influence.

    overlap               w = (1 / e_g) / Σ_k (1 / e_k); with two groups 1 - e_g
    inverse probability   w = 1 / e_g

with e_k a row's fitted share of group k, g its own group. The influence of a row is the derivative of an estimate in
the weight of that row, at weight 1, the propensity fitted anew: the sandwich of the stacked equations.

Source: Li and Li 2019, doi:10.1214/19-AOAS1282 (overlap weights of several groups); Stefanski and Boos 2002,
doi:10.1198/000313002753631330 (stacked equations).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liftseries.estimators.multinomial import MultinomialFit

OVERLAP, INVERSE_PROBABILITY = "overlap", "inverse_probability"


@dataclass(frozen=True)
class Weights:
    """Weights from a propensity model.

    Attributes
    ----------
    value : shape (n,)
    slope : shape (n, (G - 1) p), of log w by the propensity's coefficients
    fit : the propensity model
    """

    value: np.ndarray
    slope: np.ndarray
    fit: MultinomialFit

    def through(self, explicit: np.ndarray) -> np.ndarray:
        """The whole influence of each row on an estimate, shape (n, …).

        `explicit` is the derivative of the estimate in the log of each row's weight, which is the row's influence while
        the propensity stays as it is.
        """
        return explicit + self.fit.influence @ (self.slope.T @ explicit)


def balancing_weights(kind: str, fit: MultinomialFit, group: np.ndarray) -> Weights:
    """The weights of a kind.

    Parameters
    ----------
    kind : OVERLAP or INVERSE_PROBABILITY
    fit : of `multinomial_logistic`
    group : shape (n,), as fitted
    """
    e, rows = fit.probability, np.arange(len(fit.probability))
    own = np.eye(e.shape[1])[group]
    if kind == OVERLAP:
        inverse = e.min(axis=1, keepdims=True) / e  # held in range; the factor cancels
        share = inverse / inverse.sum(axis=1, keepdims=True)
        value = share[rows, group]
    else:
        share, value = e, 1 / e[rows, group]
    # log w = -η_g - log Σ exp(-η_k), or -η_g + log Σ exp(η_k): both slopes are share_h - [h = g], times x.
    slope = ((share - own)[:, 1:, None] * fit.x[:, None, :]).reshape(len(e), -1)
    return Weights(value, slope, fit)


def weighted_mean(y: np.ndarray, weight: np.ndarray) -> tuple[float, np.ndarray]:
    """Σ w y / Σ w, and its derivative in the log of each weight, shape (n,)."""
    total = weight.sum()
    mean = float(weight @ y / total)
    return mean, weight * (y - mean) / total


def effective_number(weight: np.ndarray) -> float:
    """(Σ w)² / Σ w²: as many rows of equal weight tell as much.

    Source: Kish 1965, Survey Sampling, section 11.7 (from memory).
    """
    return float(weight.sum() ** 2 / (weight**2).sum()) if len(weight) else 0.0


def standardised_difference(
    x: np.ndarray, of_group: np.ndarray, of_reference: np.ndarray, weight: np.ndarray, is_level: bool
) -> float:
    """(mean - mean of the reference) / √((v + v of the reference) / 2), means weighted, v the unweighted variances.

    Parameters
    ----------
    x : shape (n,)
    of_group, of_reference : shape (n,), true/false
    weight : shape (n,)
    is_level : v is p (1 - p); otherwise the variance over n - 1

    Returns 0 where both variances are zero and the means agree, NaN where they are zero and the means do not.

    Source: Austin 2009, doi:10.1002/sim.3697.
    """
    means = [weighted_mean(x[member], weight[member])[0] for member in (of_group, of_reference)]
    plain = [x[member] for member in (of_group, of_reference)]
    if is_level:
        variances = [part.mean() * (1 - part.mean()) for part in plain]
    else:
        variances = [part.var(ddof=1) if len(part) > 1 else np.nan for part in plain]
    apart, pooled = means[0] - means[1], np.sqrt(np.mean(variances))
    if pooled == 0:
        return 0.0 if abs(apart) < 1e-12 else np.nan
    return float(apart / pooled)
