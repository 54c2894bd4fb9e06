"""Multinomial logistic regression by maximum likelihood, with each row's influence on the coefficients.

With two groups it is the logistic regression. Newton's steps stand on orthonormal columns, so that they do not depend
on the units of the columns.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import NotFitted

MAX_ITERATIONS = 60
STEP_TOLERANCE = 1e-11
LARGEST_LOG_ODDS = 30.0  # beyond it a fitted share is 0 or 1 to 13 digits: the estimate runs off to infinity


@dataclass(frozen=True)
class MultinomialFit:
    """A fitted multinomial logistic model of G groups on p columns.

    Attributes
    ----------
    x : shape (n, p), as fitted
    coefficients : shape (G - 1, p), log odds against the first group
    probability : shape (n, G)
    influence : shape (n, (G - 1) p)
        The derivative of the coefficients, group by group, in the weight of a row, at weight 1.
    """

    x: np.ndarray
    coefficients: np.ndarray
    probability: np.ndarray
    influence: np.ndarray


def multinomial_logistic(x: np.ndarray, group: np.ndarray, n_groups: int) -> MultinomialFit:
    """Fit the shares of groups on columns.

    Parameters
    ----------
    x : shape (n, p)
        Of full column rank, the first column constant.
    group : shape (n,), 0 … G - 1
        Each of them occurs.
    n_groups : G

    Raises
    ------
    NotFitted
        The columns tell groups apart, so that there is no finite maximum.

    Source: McCullagh and Nelder 1989, Generalized Linear Models, chapter 5 (from memory); the influence of a row is its
    score times the inverse information, Huber 1967.
    """
    n, p = x.shape
    q, r = np.linalg.qr(x)
    z = q * np.sqrt(n)
    member = np.eye(n_groups)[np.asarray(group, int)][:, 1:]
    theta = np.zeros((n_groups - 1, p))
    value, share = _likelihood(z, member, theta)
    for _ in range(MAX_ITERATIONS):
        score = ((member - share[:, 1:]).T @ z).ravel()
        step = _solved(_information(z, share), score).reshape(theta.shape)
        trial, trial_share = _likelihood(z, member, theta + step)
        while not trial >= value - 1e-10 * abs(value):
            step = step / 2
            if np.abs(step).max() < STEP_TOLERANCE:
                break
            trial, trial_share = _likelihood(z, member, theta + step)
        theta, value, share = theta + step, trial, trial_share
        if np.abs(z @ theta.T).max(initial=0.0) > LARGEST_LOG_ODDS:
            raise NotFitted(remark("terms_separate"))
        if np.abs(step).max(initial=0.0) < STEP_TOLERANCE:
            break
    else:
        raise NotFitted(remark("likelihood_not_settled", n_steps=MAX_ITERATIONS))
    back = solve_triangular(r, np.eye(p)) * np.sqrt(n)
    scores = ((member - share[:, 1:])[:, :, None] * z[:, None, :]).reshape(n, -1)
    moved = _solved(_information(z, share), scores.T).T.reshape(n, n_groups - 1, p) @ back.T
    return MultinomialFit(x, theta @ back.T, share, moved.reshape(n, -1))


def _likelihood(z: np.ndarray, member: np.ndarray, theta: np.ndarray) -> tuple[float, np.ndarray]:
    """Log-likelihood and the shares, shape (n, G)."""
    log_odds = np.column_stack([np.zeros(len(z)), z @ theta.T])
    top = log_odds.max(axis=1, keepdims=True)
    total = top + np.log(np.exp(log_odds - top).sum(axis=1, keepdims=True))
    return float((member * log_odds[:, 1:]).sum() - total.sum()), np.exp(log_odds - total)


def _information(z: np.ndarray, share: np.ndarray) -> np.ndarray:
    g, p = share.shape[1] - 1, z.shape[1]
    found = np.empty((g, p, g, p))
    for a in range(g):
        for b in range(g):
            weight = share[:, a + 1] * (float(a == b) - share[:, b + 1])
            found[a, :, b, :] = (z * weight[:, None]).T @ z
    return found.reshape(g * p, g * p)


def _solved(information: np.ndarray, right: np.ndarray) -> np.ndarray:
    try:
        return np.linalg.solve(information, right)
    except np.linalg.LinAlgError:
        raise NotFitted(remark("terms_separate")) from None
