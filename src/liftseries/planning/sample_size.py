"""How many patients the next study needs for an interval so narrow, by simulating studies like this one.

A simulated study draws patients, each with all their sites and covariates, from this one with replacement; its
perforations have the fitted model's risks and its correlation within patients; the model is fitted anew and the half
of its 95 % interval taken. Half-widths shrink with the root of the number of patients, which leads from the simulated
sizes to the size sought.
"""

from collections.abc import Callable, Sequence
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
SIMULATIONS = 1000
A_CHUNK = 50
LADDER = (0.5, 0.7, 1.0, 1.4, 2.0)  # first guesses, times the size that this study's own half-width suggests
MOST_LADDERS = 4
FEWEST_PATIENTS, MOST_PATIENTS = 8, 20_000
WIDTHS_NEAR = 1.5  # a ladder's half-widths within this factor of the one sought are extrapolated from
SURE = 0.8  # of the simulated studies that shall have an interval so narrow

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


@dataclass(frozen=True)
class SampleSize:
    """The size sought.

    Attributes
    ----------
    n_patients : at which the mean half-width is the one sought
    monte_carlo_error : its standard error, patients
    share_within : of the simulated studies of that size, those that have an interval so narrow
    n_patients_sure, monte_carlo_error_sure : at which SURE of them have
    share_not_fitted : of the simulated studies of about that size
    ladder : columns n_patients, n_fitted, half_width
        Mean half-widths at the sizes simulated.
    """

    n_patients: int
    monte_carlo_error: float
    share_within: float
    n_patients_sure: int
    monte_carlo_error_sure: float
    share_not_fitted: float
    ladder: pd.DataFrame


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


def sample_size(
    study: SimulatedFrom,
    within: float,
    seed: int,
    simulations: int = SIMULATIONS,
    side_by_side: Callable = map,
    told: Callable[[int, int], None] = lambda done, planned: None,
) -> SampleSize:
    """The number of patients at which a 95 % interval is as narrow as `± within`.

    Parameters
    ----------
    study : see `simulated_from`
    within : half-width sought; of the rate a share (0.02 = two percentage points), of a term log odds
    seed
    simulations : studies simulated near the answer, and as many for the ladder that leads there
    side_by_side : `map`, or the map of a pool of processes
    told : called with how many studies are simulated and how many are planned

    Raises
    ------
    NotFitted
        The answer lies beyond MOST_PATIENTS, or no simulated study could be fitted.

    Notes
    -----
    With c = half-width × √N from each study, the size at which the mean half-width is `within` is (mean c / within)²,
    and that at which a share of the studies have it is (that quantile of c / within)².
    """
    rungs: list[dict] = []
    progress = [0, 3 * simulations]

    def simulated(n_patients: int, n: int) -> np.ndarray:
        chunks = [(first, min(A_CHUNK, n - first)) for first in range(0, n, A_CHUNK)]
        found = []
        for widths in side_by_side(_Chunk(study, n_patients, seed), chunks):
            found.append(widths)
            progress[0] += len(widths)
            told(*progress)
        widths = np.concatenate(found)
        fitted = widths[np.isfinite(widths)]
        if len(fitted) == 0:
            raise NotFitted(f"none of {n} simulated studies of {n_patients} patients could be fitted")
        rungs.append({"n_patients": n_patients, "n_fitted": len(fitted), "half_width": fitted.mean()})
        return widths

    # The ladder: rough sizes, again from where the last ones point to as long as they are far from it.
    guess = study.n_patients * (study.half_width / within) ** 2
    a_rung = max(simulations // len(LADDER), 2)
    for _ in range(MOST_LADDERS):
        sizes = sorted({_allowed(step * guess) for step in LADDER})
        progress[1] = progress[0] + a_rung * len(sizes) + 2 * simulations
        roots = [np.nanmean(simulated(size, a_rung)) * np.sqrt(size) for size in sizes]
        widths = np.array(roots) / np.sqrt(sizes)
        near = np.abs(np.log(widths / within)) < np.log(WIDTHS_NEAR)
        nearest = np.abs(np.log(widths / within)).argmin()
        guess = (np.mean(np.array(roots)[near]) if near.any() else roots[nearest]) ** 2 / within**2
        if near.any() or _allowed(guess) in sizes:
            break
    if guess > MOST_PATIENTS:
        raise NotFitted(f"more than {MOST_PATIENTS:,} patients would be needed; ask for a wider interval")

    at = _allowed(guess)
    widths = simulated(at, simulations)
    c = widths[np.isfinite(widths)] * np.sqrt(at)
    needed = (c.mean() / within) ** 2
    n_patients = max(int(np.ceil(needed)), FEWEST_PATIENTS)
    error = 2 * needed * c.std(ddof=1) / np.sqrt(len(c)) / c.mean() if len(c) > 1 else np.nan
    share_within = float((c / np.sqrt(n_patients) <= within).mean())

    at_sure = _allowed((np.quantile(c, SURE) / within) ** 2)
    widths_sure = simulated(at_sure, simulations)
    c = np.sort(widths_sure[np.isfinite(widths_sure)]) * np.sqrt(at_sure)
    # Its standard error from the order statistics one binomial standard error to either side.
    reach = np.sqrt(SURE * (1 - SURE) / len(c))
    low, sure, high = (np.quantile(c, np.clip([SURE - reach, SURE, SURE + reach], 0, 1)) / within) ** 2
    return SampleSize(
        n_patients=n_patients,
        monte_carlo_error=float(error),
        share_within=share_within,
        n_patients_sure=max(int(np.ceil(sure)), FEWEST_PATIENTS),
        monte_carlo_error_sure=float((high - low) / 2),
        share_not_fitted=float(np.isnan(widths).mean()),
        ladder=pd.DataFrame(rungs).sort_values("n_patients", ignore_index=True),
    )


@dataclass(frozen=True)
class _Chunk:
    """`half_widths` of one size, to be called with (first, n); a process can be handed it."""

    study: SimulatedFrom
    n_patients: int
    seed: int

    def __call__(self, chunk: tuple[int, int]) -> np.ndarray:
        return half_widths(self.study, self.n_patients, self.seed, *chunk)


def _allowed(n_patients: float) -> int:
    return int(np.clip(np.ceil(n_patients), FEWEST_PATIENTS, MOST_PATIENTS))
