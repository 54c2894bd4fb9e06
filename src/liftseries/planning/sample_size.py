"""How many patients the next study needs for an interval so narrow, by simulating studies like this one.

A simulated study draws patients, each with all their sites and covariates, from this one with replacement; its
perforations have the fitted model's risks and its correlation within patients; the model is fitted anew and the half
of its 95 % interval taken. Half-widths shrink with the root of the number of patients, which leads from the simulated
sizes to the size sought.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from liftseries.estimators.intervals import NotFitted
from liftseries.planning.simulated import SimulatedFrom, half_widths

SIMULATIONS = 1000
A_CHUNK = 50
LADDER = (0.5, 0.7, 1.0, 1.4, 2.0)  # first guesses, times the size that this study's own half-width suggests
MOST_LADDERS = 4
FEWEST_PATIENTS, MOST_PATIENTS = 8, 20_000
WIDTHS_NEAR = 1.5  # a ladder's half-widths within this factor of the one sought are extrapolated from
SURE = 0.8  # of the simulated studies that shall have an interval so narrow


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
    simulated = _Simulated(study, seed, side_by_side, told, n_planned=3 * simulations)
    guess = _guess(simulated, within, simulations)
    if guess > MOST_PATIENTS:
        raise NotFitted(f"more than {MOST_PATIENTS:,} patients would be needed; ask for a wider interval")

    at = _allowed(guess)
    widths = simulated.half_widths(at, simulations)
    c = widths[np.isfinite(widths)] * np.sqrt(at)
    needed = (c.mean() / within) ** 2
    n_patients = max(int(np.ceil(needed)), FEWEST_PATIENTS)
    error = 2 * needed * c.std(ddof=1) / np.sqrt(len(c)) / c.mean() if len(c) > 1 else np.nan
    share_within = float((c / np.sqrt(n_patients) <= within).mean())

    at_sure = _allowed((np.quantile(c, SURE) / within) ** 2)
    widths_sure = simulated.half_widths(at_sure, simulations)
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
        ladder=pd.DataFrame(simulated.rungs).sort_values("n_patients", ignore_index=True),
    )


@dataclass
class _Simulated:
    """The simulated studies by their size, and how many there are of those planned."""

    study: SimulatedFrom
    seed: int
    side_by_side: Callable
    told: Callable[[int, int], None]
    n_planned: int
    n_done: int = 0
    rungs: list[dict] = field(default_factory=list)  # a size each: n_patients, n_fitted, half_width

    def half_widths(self, n_patients: int, n: int) -> np.ndarray:
        """Those of `n` more studies of that size, shape (n,); NaN where one was not fitted."""
        chunks = [(first, min(A_CHUNK, n - first)) for first in range(0, n, A_CHUNK)]
        found = []
        for widths in self.side_by_side(_Chunk(self.study, n_patients, self.seed), chunks):
            found.append(widths)
            self.n_done += len(widths)
            self.told(self.n_done, self.n_planned)
        widths = np.concatenate(found)
        fitted = widths[np.isfinite(widths)]
        if len(fitted) == 0:
            raise NotFitted(f"none of {n} simulated studies of {n_patients} patients could be fitted")
        self.rungs.append({"n_patients": n_patients, "n_fitted": len(fitted), "half_width": fitted.mean()})
        return widths


def _guess(simulated: _Simulated, within: float, simulations: int) -> float:
    """About how many patients: rough sizes, again from where the last ones point to while they are far from it."""
    guess = simulated.study.n_patients * (simulated.study.half_width / within) ** 2
    a_rung = max(simulations // len(LADDER), 2)
    for _ in range(MOST_LADDERS):
        sizes = sorted({_allowed(step * guess) for step in LADDER})
        simulated.n_planned = simulated.n_done + a_rung * len(sizes) + 2 * simulations
        roots = [np.nanmean(simulated.half_widths(size, a_rung)) * np.sqrt(size) for size in sizes]
        widths = np.array(roots) / np.sqrt(sizes)
        near = np.abs(np.log(widths / within)) < np.log(WIDTHS_NEAR)
        nearest = np.abs(np.log(widths / within)).argmin()
        guess = (np.mean(np.array(roots)[near]) if near.any() else roots[nearest]) ** 2 / within**2
        if near.any() or _allowed(guess) in sizes:
            break
    return guess


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
