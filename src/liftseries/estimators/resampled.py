"""Logistic models of many resamples at once, and how well they predict.

A resample is how often each patient was drawn: his sites weigh so many times, and none is copied. Arrays have a row a
resample, so that a thousand of them cost some dozens of matrix products.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logit

from liftseries.estimators import prediction
from liftseries.estimators.clusters import cluster_sums
from liftseries.estimators.gee import (
    LARGEST_ALPHA,
    LARGEST_LOG_ODDS,
    LARGEST_WEIGHT,
    MAX_ITERATIONS,
    STEP_TOLERANCE,
)

FULL_RANK = 1e-9  # of a resample's columns: its smallest eigenvalue to the largest


def resampled_gee(
    x: np.ndarray, event: np.ndarray, codes: np.ndarray, times: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The coefficients of `logistic_gee` in each resample, each copy of a patient a patient of its own.

    Parameters
    ----------
    x : shape (n, p), of full column rank, the first column constant
    event : shape (n,), true/false
    codes : shape (n,), whose site it is, from 0; each patient has one
    times : shape (R, K), how often each patient was drawn

    Returns
    -------
    coefficients : shape (R, p), log odds
    fitted : shape (R,)
        False where a resample needs a closer look: its columns are not of full rank, it has no event or nothing else,
        or its log odds run off. Its coefficients mean nothing.
    """
    order = np.argsort(codes, kind="stable")
    q, r = np.linalg.qr(x)
    z = (q * np.sqrt(len(x)))[order]
    resamples = _Resamples(z, np.asarray(event, float)[order], codes[order], np.asarray(times, float))
    start = np.outer(logit(np.clip(resamples.share, 1e-6, 1 - 1e-6)), r[:, 0] / x[0, 0] / np.sqrt(len(x)))
    fitted = resamples.of_full_rank() & (resamples.share > 0) & (resamples.share < 1)
    independent, settled, _ = resamples.solve(start, fitted, correlated=False)
    fitted = fitted & settled
    correlated, settled, runs_off = resamples.solve(independent, fitted, correlated=True)
    beta = np.where(settled[:, None], correlated, independent)
    return np.linalg.solve(r, beta.T * np.sqrt(len(x))).T, fitted & ~runs_off


@dataclass
class _Resamples:
    """The estimating equations of fixed data in each resample; the sites of a patient lie side by side."""

    z: np.ndarray
    y: np.ndarray
    codes: np.ndarray
    times: np.ndarray

    def __post_init__(self) -> None:
        n, p = self.z.shape
        self.size = np.bincount(self.codes).astype(float)
        self.outer = (self.z[:, :, None] * self.z[:, None, :]).reshape(n, p * p)
        self.weight = self.times[:, self.codes]
        self.n_sites = self.weight.sum(axis=1)
        self.share = self.weight @ self.y / self.n_sites
        self.n_pairs = self.times @ (self.size * (self.size - 1) / 2)
        largest = np.where(self.times > 0, self.size, 0).max(axis=1)
        self.lowest_alpha = (1 / LARGEST_WEIGHT - 1) / np.maximum(largest - 1, 1)

    def of_full_rank(self) -> np.ndarray:
        """Whether the columns of each resample are; shape (R,)."""
        p = self.z.shape[1]
        values = np.linalg.eigvalsh((self.weight @ self.outer).reshape(-1, p, p))
        return values[:, 0] > FULL_RANK * values[:, -1]

    def solve(self, beta, which, correlated: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Fisher scoring from β: where it stands, where it settled with a usable α, where it ran off."""
        beta, settled, runs_off = beta.copy(), np.zeros(len(beta), bool), np.zeros(len(beta), bool)
        active = np.flatnonzero(which)
        for _ in range(MAX_ITERATIONS):
            log_odds = beta[active] @ self.z.T
            off = np.abs(log_odds).max(axis=1, initial=0.0) > LARGEST_LOG_ODDS
            runs_off[active[off]] = True
            active, log_odds = active[~off], log_odds[~off]
            if not len(active):
                break
            information, score, usable = self._equations(log_odds, active, correlated)
            step = np.linalg.solve(information, score[:, :, None])[:, :, 0]
            done = np.abs(step).max(axis=1) < STEP_TOLERANCE
            settled[active[done]] = usable[done]
            active, step = active[~done], step[~done]
            beta[active] += step
        return beta, settled, runs_off

    def _equations(self, log_odds, active, correlated: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Information, shape (A, p, p), score, shape (A, p), and whether α can be used, of the active resamples."""
        p = self.z.shape[1]
        times, weight = self.times[active], self.weight[active]
        mu = risks(log_odds)
        variance = mu * (1 - mu)
        information = ((weight * variance) @ self.outer).reshape(-1, p, p)
        score = (weight * (self.y - mu)) @ self.z
        if not correlated:
            return information, score, np.ones(len(active), bool)
        root = np.sqrt(variance)
        e = (self.y - mu) / root
        squares = (weight * e**2).sum(axis=1)
        e_sum = cluster_sums(self.codes, len(self.size), e.T).T
        n_sites, n_pairs = self.n_sites[active], self.n_pairs[active]
        moment = ((times * e_sum**2).sum(axis=1) - squares) / 2 / np.maximum(n_pairs - p, 1e-300)
        moment = np.where(n_pairs > p, moment / (squares / (n_sites - p)), 0.0)
        alpha = np.clip(moment, self.lowest_alpha[active], LARGEST_ALPHA)[:, None]
        c = times * alpha / (1 + (self.size - 1) * alpha)
        for k, of_site in enumerate(root):  # one at a time: all of them would fill the memory
            sums = cluster_sums(self.codes, len(self.size), self.z * of_site[:, None])
            information[k] -= (sums * c[k][:, None]).T @ sums
            score[k] -= (c[k] * e_sum[k]) @ sums
        return information / (1 - alpha)[:, :, None], score / (1 - alpha), moment >= self.lowest_alpha[active]


def risks(log_odds: np.ndarray) -> np.ndarray:
    """`expit`, several times as fast; a risk below 1e-16 is 0."""
    return (1 + np.tanh(log_odds / 2)) / 2


def c_statistics(score: np.ndarray, *counts: tuple[np.ndarray, np.ndarray]) -> list[np.ndarray]:
    """`c_statistic` of each row, by counts of sites; NaN without an event or without a site that has none.

    Parameters
    ----------
    score : shape (R, m)
    counts : sites with and without the event, shape (R, m) or (m,) each

    Returns
    -------
    shape (R,) each
    """
    m = score.shape[1]
    order = np.argsort(score, axis=1, kind="stable")
    ordered = np.take_along_axis(score, order, axis=1)
    rises = ordered[:, 1:] != ordered[:, :-1]
    edge = np.ones((len(score), 1), bool)
    first = np.maximum.accumulate(np.where(np.hstack([edge, rises]), np.arange(m), 0), axis=1)
    last = np.minimum.accumulate(np.where(np.hstack([rises, edge]), np.arange(m), m - 1)[:, ::-1], axis=1)[:, ::-1]
    found = []
    for pair in counts:
        events, others = (np.take_along_axis(np.broadcast_to(one, score.shape), order, axis=1) for one in pair)
        up_to = np.hstack([np.zeros((len(score), 1)), np.cumsum(others, axis=1)])
        lower = (np.take_along_axis(up_to, first, axis=1) + np.take_along_axis(up_to, last + 1, axis=1)) / 2
        with np.errstate(invalid="ignore"):
            c = (events * lower).sum(axis=1) / (events.sum(axis=1) * others.sum(axis=1))
        found.append(np.where(np.isnan(score).any(axis=1), np.nan, c))
    return found


def _products(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Sums of products along rows, shape (R,)."""
    return np.einsum("rn,rn->r", a, b)


def calibrations(score: np.ndarray, events: np.ndarray, others: np.ndarray, with_slope: bool) -> np.ndarray:
    """`calibration_slope` of each row, or `calibration_intercept`, by counts of sites; NaN where it cannot be had.

    Parameters
    ----------
    score : shape (R, m), log odds
    events, others : sites with and without the event, shape (R, m) or (m,)
    with_slope : the slope; else the intercept with the slope held at 1

    Returns
    -------
    shape (R,)
    """
    events, others = (np.broadcast_to(np.asarray(one, float), score.shape) for one in (events, others))
    weight = events + others
    share = events.sum(axis=1) / weight.sum(axis=1)
    spread = np.ptp(score, axis=1)  # NaN where there is no score
    active = np.flatnonzero((share > 0) & (share < 1) & (spread >= (prediction.ALIKE if with_slope else 0)))
    p = 1 + with_slope
    beta, found = np.tile([0.0, 1.0], (len(score), 1))[:, :p], np.full(len(score), np.nan)
    for _ in range(prediction.MAX_ITERATIONS):
        s, w = score[active], weight[active]
        risk = risks(beta[active, :1] + (beta[active, 1:] * s if with_slope else s))
        left, v = events[active] - w * risk, w * risk * (1 - risk)
        gradient = np.stack([left.sum(axis=1), *([_products(left, s)] if with_slope else [])], axis=1)
        information = np.empty((len(active), p, p))
        information[:, 0, 0] = v.sum(axis=1)
        if with_slope:
            information[:, 0, 1] = information[:, 1, 0] = _products(v, s)
            information[:, 1, 1] = _products(v * s, s)
        trace = np.trace(information, axis1=1, axis2=2)
        regular = np.linalg.det(information) > prediction.SINGULAR * trace**p
        active, information, gradient = active[regular], information[regular], gradient[regular]
        if not len(active):
            break
        step = np.linalg.solve(information, gradient[:, :, None])[:, :, 0]
        length = np.abs(step).max(axis=1)
        beta[active] += step / np.maximum(1.0, length / 3)[:, None]
        stays = np.abs(beta[active]).max(axis=1) <= prediction.LARGEST
        done = stays & (length < prediction.SMALLEST_STEP)
        found[active[done]] = beta[active[done], -1]
        active = active[stays & ~done]
    return found
