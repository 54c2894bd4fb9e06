"""Means of what a model predicts for all rows, each set to a group, with the influence of every row.

Logistic regression for an event; Cox regression with Breslow's increments for a survival curve. The influence of a row
is the derivative of the mean in the weight of that row, at weight 1, the model fitted anew.

Source: Robins 1986, doi:10.1016/0270-0255(86)90088-6 (the g-formula, from memory); Breslow 1974,
doi:10.2307/2529620.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import expit

from liftseries.estimators.clusters import cluster_sums
from liftseries.estimators.cox import PartialLikelihood, cox_regression, inverse_information
from liftseries.estimators.multinomial import multinomial_logistic
from liftseries.estimators.weighted_curve import steps_up_to

ROWS_AT_ONCE = 20_000  # whose curves stand in memory together


def standardised_risks(x: np.ndarray, event: np.ndarray, set_to: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Mean risks by a logistic regression.

    Parameters
    ----------
    x : shape (n, p)
        Of full column rank, the first column constant.
    event : shape (n,), true/false; both occur
    set_to : the columns with every row set to a group, shape (n, p) each

    Returns
    -------
    risks : shape (G,)
    influence : shape (n, G)

    Raises
    ------
    NotFitted
        The columns tell events from the rest.
    """
    fit = multinomial_logistic(x, np.asarray(event, int), 2)
    risks, influence = [], []
    for rows in set_to:
        p = expit(rows @ fit.coefficients[0])
        risks.append(p.mean())
        influence.append((p - p.mean()) / len(p) + fit.influence @ ((p * (1 - p)) @ rows / len(p)))
    return np.array(risks), np.column_stack(influence)


@dataclass(frozen=True)
class StandardisedCurves:
    """Cox regression, and what its predictions for rows set to a group come to.

    Attributes
    ----------
    months : shape (n,)
    failed : shape (n,), true/false
    x : shape (n, p), centred
    beta : shape (p,)
    beta_influence : shape (n, p)
    """

    months: np.ndarray
    failed: np.ndarray
    x: np.ndarray
    centre: np.ndarray
    beta: np.ndarray
    beta_influence: np.ndarray

    @classmethod
    def fitted(cls, months: np.ndarray, failed: np.ndarray, x: np.ndarray, cluster: np.ndarray) -> StandardisedCurves:
        """Fit by Efron's partial likelihood; arguments and errors as of `cox_regression`."""
        centre = x.mean(axis=0)
        beta = cox_regression(months, failed, x, cluster).coefficients
        likelihood = PartialLikelihood(np.asarray(months, float), np.asarray(failed, bool), x - centre)
        state = likelihood(beta)
        influence = likelihood.score_residuals(state) @ inverse_information(state.information)
        return cls(np.asarray(months, float), np.asarray(failed, bool), x - centre, centre, beta, influence)

    @cached_property
    def _breslow(self) -> tuple[np.ndarray, ...]:
        """Times of failure, how many of them each row was at risk at, its hazard; Σ hazard, mean x and jump of each."""
        times = np.unique(self.months[self.failed])
        own = np.searchsorted(times, self.months, side="right")
        hazard = np.exp(self.x @ self.beta)
        d = np.bincount(own[self.failed] - 1, minlength=len(times)).astype(float)
        sums = cluster_sums(own, len(times) + 1, np.column_stack([hazard, hazard[:, None] * self.x]))
        at_risk = np.cumsum(sums[::-1], axis=0)[::-1][1:]
        s0, mean_x = at_risk[:, 0], at_risk[:, 1:] / at_risk[:, :1]
        return times, own, hazard, s0, mean_x, d / s0

    def mean(self, set_to: np.ndarray, month: float, area: bool) -> tuple[float, np.ndarray]:
        """Mean predicted survival at a month, or the area under it up to there, and its influence, shape (n,).

        Breslow's increments d / Σ exp(x β) at the coefficients of Efron's fit; S = exp(-Λ exp(x β)).

        Parameters
        ----------
        set_to : the columns with every row set to a group, shape (n, p)
        month
        area
        """
        n, (times, own, hazard, s0, mean_x, jump) = len(self.months), self._breslow
        cumulated = np.cumsum(jump)

        constant, c = steps_up_to(times, month, area)
        used = np.flatnonzero(c)
        theirs = np.exp((set_to - self.centre) @ self.beta)
        survival, falls = np.zeros((2, len(used)))  # means of S and of -dS/dΛ, by time
        own_survival, by_own = np.empty((2, n))  # Σ c S and Σ c Λ (-dS/dΛ), by row
        for rows in np.array_split(np.arange(n), -(-n // ROWS_AT_ONCE)):
            predicted = np.exp(-theirs[rows, None] * cumulated[used])
            survival += predicted.sum(axis=0) / n
            own_survival[rows] = predicted @ c[used]
            predicted *= theirs[rows, None]
            falls += predicted.sum(axis=0) / n
            by_own[rows] = predicted @ (c[used] * cumulated[used])
        mean = survival @ c[used]
        by_cumulated = np.zeros(len(times))
        by_cumulated[used] = -c[used] * falls
        by_jump = np.cumsum(by_cumulated[::-1])[::-1]
        by_beta = -(by_own @ (set_to - self.centre)) / n - (by_jump * jump) @ mean_x
        influence = (own_survival - mean) / n + self.beta_influence @ by_beta
        influence -= hazard * np.r_[0.0, np.cumsum(by_jump * jump / s0)][own]
        influence[self.failed] += (by_jump / s0)[own[self.failed] - 1]
        return float(constant + mean), influence
