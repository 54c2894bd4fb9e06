"""Studies simulated from a fitted one: patients drawn with all their sites, perforations with the fitted risks.

Each simulated study is fitted anew and half of its 95 % interval taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.special import expit, logit, ndtr, ndtri

from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.gee import logistic_gee
from liftseries.estimators.intervals import NotFitted, critical_value
from liftseries.models.shared.complete_cases import perforation_data
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR
from liftseries.models.shared.separation import refuse_infinite_odds

RATE = "rate"
TOPIC = 8301  # of the replicates' generators
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(60)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
LARGEST_RHO = 0.99  # of the normal scores; beyond it the quadrature loses its digits


@dataclass(frozen=True)
class SimulatedFrom:
    """A fitted study, from which others are drawn.

    Attributes
    ----------
    x : shape (n_sites, p), a patient's sites next to each other
    risk : shape (n_sites,), fitted
    first, size : shape (n_patients,), where a patient's sites begin and how many there are
    column : which of `x` the question is about; None for the rate
    alpha : correlation of two sites of a patient, as simulated
    rho : correlation of the normal scores that makes it
    half_width : of this study's own 95 % interval
    rate_interval : 95 % limits of this study's own perforation rate
    cautions : what to mind, in words
    """

    x: np.ndarray
    risk: np.ndarray
    first: np.ndarray
    size: np.ndarray
    column: int | None
    alpha: float
    rho: float
    half_width: float
    rate_interval: tuple[float, float]
    cautions: tuple[str, ...]

    @property
    def n_patients(self) -> int:
        return len(self.size)


def simulated_from(cases: pd.DataFrame, of: str = RATE, terms: Sequence[str] = ()) -> SimulatedFrom:
    """Fit the model that studies are simulated from.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    of : RATE, or a term of the perforation model such as `approach[guided]`
    terms : of the perforation model; the rate needs none

    Raises
    ------
    NotFitted
        No perforation, no such term, or no finite estimate.
    """
    data = perforation_data(cases, () if of == RATE else terms)
    design = data.design
    if of != RATE and of not in design.names:
        known = ", ".join(name for name in design.names[1:])
        raise NotFitted(design.problems.get(of, f"no such term in the perforation model; there are {RATE}, {known}"))
    if len(data.event) and not data.event.any():
        raise NotFitted(
            "no site perforated, so there is no model to simulate from; plan by the one-sided bound of "
            "perforation.rate: n patients without a perforation keep the rate below 1 - 0.05^(1/n)"
        )
    refuse_infinite_odds(design, data.event)
    codes, n_patients = cluster_codes(data.patient)
    order = np.argsort(codes, kind="stable")
    x, event, codes = design.matrix[order], data.event[order], codes[order]
    column = None if of == RATE else design.names.index(of)
    model = logistic_gee(x, event, codes)
    if not (model.std_error > NO_STD_ERROR).all():
        raise NotFitted(ZERO_STD_ERROR)
    risk = expit(x @ model.coefficients)
    rho, cautions = latent_correlation(risk, codes, model.alpha), []
    alpha = model.alpha
    if model.alpha <= 0:
        cautions.append("sites of a patient are no more alike than chance here, so they are simulated as independent")
        alpha = 0.0
    elif rho == LARGEST_RHO:
        alpha = mean_correlation(risk, codes, rho)
        cautions.append(f"sites of a patient are alike to {model.alpha:.2f}, but simulated with {alpha:.2f}")
    if event.sum() < 10:
        cautions.append(
            f"this study has {int(event.sum())} perforation{'s' if event.sum() > 1 else ''} only: "
            "its own rate, on which the answer rests, is uncertain"
        )
    size = np.bincount(codes, minlength=n_patients)
    return SimulatedFrom(
        x=x,
        risk=risk,
        first=np.cumsum(size) - size,
        size=size,
        column=column,
        alpha=float(alpha),
        rho=rho,
        half_width=half_width(model, column),
        rate_interval=rate_interval(event, codes),
        cautions=tuple(cautions),
    )


def rate_interval(event: np.ndarray, codes: np.ndarray) -> tuple[float, float]:
    """95 % limits of the share of sites with the event, as perforation.rate's `cluster` has them."""
    model = logistic_gee(np.ones((len(event), 1)), event, codes)
    reach = critical_value(model.df) * model.std_error[0]
    return float(expit(model.coefficients[0] - reach)), float(expit(model.coefficients[0] + reach))


def at_rate(study: SimulatedFrom, rate: float) -> SimulatedFrom:
    """The same study had its perforation rate been another: all log odds moved by one constant."""
    log_odds = logit(study.risk)
    moved = expit(log_odds + brentq(lambda by: expit(log_odds + by).mean() - rate, -20.0, 20.0))
    codes = np.repeat(np.arange(study.n_patients), study.size)
    return replace(study, risk=moved, rho=latent_correlation(moved, codes, study.alpha))


def half_width(model, column: int | None) -> float:
    """Half of a fitted 95 % interval: of a coefficient, or of the risk that a constant alone stands for."""
    b, se = model.coefficients[column or 0], model.std_error[column or 0]
    reach = critical_value(model.df) * se
    return float(reach if column is not None else (expit(b + reach) - expit(b - reach)) / 2)


def mean_correlation(risk: np.ndarray, codes: np.ndarray, rho: float) -> float:
    """Mean correlation of the events of two sites of a patient whose normal scores are correlated with `rho`.

    Parameters
    ----------
    risk : shape (n,)
    codes : shape (n,), patients numbered from 0
    rho : in [0, 1)

    An event happens where the score √ρ a + √(1-ρ) e stays below Φ⁻¹(risk), a the patient's own. Given a, sites are
    independent, so a patient's pairs need only sums over sites, averaged over a by Gauss-Hermite quadrature.
    """
    n_patients = codes.max() + 1
    size = np.bincount(codes)
    n_pairs = (size * (size - 1) / 2).sum()
    threshold, sd = ndtri(risk), np.sqrt(risk * (1 - risk))
    given_a = ndtr((threshold[:, None] - np.sqrt(rho) * _NODES) / np.sqrt(1 - rho))
    residual = (given_a - risk[:, None]) / sd[:, None]
    pairs = (cluster_sums(codes, n_patients, residual) ** 2 - cluster_sums(codes, n_patients, residual**2)) / 2
    return float(pairs.sum(axis=0) @ _WEIGHTS / n_pairs)


def latent_correlation(risk: np.ndarray, codes: np.ndarray, alpha: float) -> float:
    """The correlation of normal scores at which events are correlated with `alpha`; 0 where alpha is not positive.

    Source: Emrich and Piedmonte 1991, doi:10.1080/00031305.1991.10475828 (from memory), one ρ for all pairs.
    """
    if alpha <= 0 or np.bincount(codes).max() < 2:
        return 0.0
    if mean_correlation(risk, codes, LARGEST_RHO) <= alpha:
        return LARGEST_RHO
    return float(brentq(lambda rho: mean_correlation(risk, codes, rho) - alpha, 0.0, LARGEST_RHO, xtol=1e-6))


def study_drawn(study: SimulatedFrom, n_patients: int, rng: np.random.Generator) -> tuple[np.ndarray, ...]:
    """One simulated study: its `x`, shape (n, p), events and patients, shape (n,)."""
    drawn = rng.integers(0, study.n_patients, n_patients)
    size = study.size[drawn]
    patient = np.repeat(np.arange(n_patients), size)
    within = np.arange(len(patient)) - np.repeat(np.cumsum(size) - size, size)
    site = study.first[drawn][patient] + within
    own, each = rng.standard_normal(n_patients), rng.standard_normal(len(patient))
    score = np.sqrt(study.rho) * own[patient] + np.sqrt(1 - study.rho) * each
    return study.x[site], score < ndtri(study.risk[site]), patient


def half_widths(study: SimulatedFrom, n_patients: int, seed: int, first: int, n: int) -> np.ndarray:
    """Half-widths of simulated studies number `first` and the following, shape (n,); NaN where one was not fitted.

    Each has its own generator, so the answer does not depend on how studies are split into chunks.
    """
    found = np.full(n, np.nan)
    for i in range(n):
        rng = np.random.default_rng([seed, TOPIC, n_patients, first + i])
        x, event, patient = study_drawn(study, n_patients, rng)
        # A level that nobody drawn has leaves a column of zeros: such a study cannot answer.
        if x.shape[1] > 1 and np.linalg.matrix_rank(x) < x.shape[1]:
            continue
        try:
            found[i] = half_width(logistic_gee(x, event, patient), study.column)
        except NotFitted:
            continue
    return found
