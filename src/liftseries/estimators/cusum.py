"""Cumulative sums of log-likelihood ratios, one a case: their path, and by simulation what to expect of them.

    W = y log R - log(1 - q + R q),   S_t = max(0, S_{t-1} + W_t),   a signal where S ≥ h, after which S starts from 0

with q the expected risk of a case in control and R the odds ratio looked for.

Source: Steiner and others 2000, doi:10.1093/biostatistics/1.4.441, equations 2.1 and 2.2.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from liftseries.estimators.clustered_count import odds_times
from liftseries.estimators.clusters import cluster_codes

HAIR = 1e-9  # a sum so little below the limit lies on it
AT_ONCE = 128  # cases drawn at once for run lengths


def scores(event: np.ndarray, expected: np.ndarray, odds_ratio: float) -> np.ndarray:
    """W of each case; both of shape (n,)."""
    q = np.asarray(expected, float)
    return np.asarray(event) * np.log(odds_ratio) - np.log(1 - q + odds_ratio * q)


def cusum_path(score: np.ndarray, limit: float) -> tuple[np.ndarray, np.ndarray]:
    """S after each case, before any new start, and where it signals; both shape (n,). Never with an infinite limit."""
    total, path, signal = 0.0, np.zeros(len(score)), np.zeros(len(score), bool)
    for t, w in enumerate(score):
        total = max(0.0, total + w)
        path[t], signal[t] = total, total >= limit - HAIR
        total = 0.0 if signal[t] else total
    return path, signal


@dataclass(frozen=True)
class Sequence:
    """The cases of a unit as they are drawn: patients in order, each whole.

    Attributes
    ----------
    expected : shape (n,), q of each case
    patient : shape (n,), which patient, numbered in order; one that comes again has a new number
    mean : shape (n_patients,), the mean of q over a patient's cases
    """

    expected: np.ndarray
    patient: np.ndarray
    mean: np.ndarray

    def __len__(self) -> int:
        return len(self.expected)

    def drawn(self, random: np.random.Generator, n_draws: int, correlation: float) -> np.ndarray:
        """Events of the cases, θ ~ Beta(mean q, ρ) a patient; shape (n, n_draws), true/false.

        θ itself is never drawn: after s events among j cases of a patient, the next has one with probability
        (mean (1 - ρ) + ρ s) / (1 - ρ + ρ j), which gives the same distribution (Pólya's urn).
        """
        event = random.random((len(self), n_draws))
        found = np.empty(event.shape, bool)
        first = np.searchsorted(self.patient, self.patient)  # cases stand patient by patient
        sizes = np.bincount(self.patient, minlength=len(self.mean))
        so_far = np.zeros(n_draws)
        for t, patient in enumerate(self.patient):
            mean, j = self.mean[patient], t - first[t]
            if j == 0:
                np.less(event[t], mean, out=found[t])
                so_far = found[t].astype(float) if sizes[patient] > 1 else so_far
                continue
            risk = (mean * (1 - correlation) + correlation * so_far) / (1 - correlation + correlation * j)
            np.less(event[t], risk, out=found[t])
            so_far += found[t]
        return found

    def with_odds(self, ratio: float) -> Sequence:
        """The same cases at other odds."""
        expected = odds_times(self.expected, ratio)
        counts = np.bincount(self.patient, minlength=len(self.mean))
        return Sequence(expected, self.patient, np.bincount(self.patient, expected) / counts)

    def part(self, first: int, last: int) -> Sequence:
        """The cases from `first` to before `last`, which begin and end with a whole patient."""
        start, end = self.patient[first], self.patient[last - 1] + 1
        return Sequence(self.expected[first:last], self.patient[first:last] - start, self.mean[start:end])


def sequence_of(expected: np.ndarray, patient: np.ndarray, n_cases: int | None = None) -> Sequence:
    """A unit's patients in the order of their first case, each with all of its cases.

    Parameters
    ----------
    expected : shape (n,), in the order of the cases
    patient : shape (n,)
    n_cases : repeat the patients, or leave the last ones out, until no further whole patient goes into that number;
        the first always does. None: as they are.
    """
    codes, k = cluster_codes(patient)
    order = np.argsort(codes, kind="stable")
    expected, codes = np.asarray(expected, float)[order], codes[order]
    sizes = np.bincount(codes, minlength=k)
    means = np.bincount(codes, expected, k) / sizes
    chosen = np.arange(k)
    if n_cases is not None:
        rounds = n_cases // len(codes) + 1
        chosen = np.tile(chosen, rounds)
        fit = np.cumsum(sizes[chosen]) <= n_cases
        chosen = chosen[: max(1, int(np.argmin(fit)) if not fit.all() else len(fit))]
    starts = np.r_[0, np.cumsum(sizes)]
    rows = np.concatenate([np.arange(starts[one], starts[one + 1]) for one in chosen])
    return Sequence(expected[rows], np.repeat(np.arange(len(chosen)), sizes[chosen]), means[chosen])


def sums(event: np.ndarray, expected: np.ndarray, odds_ratio: float, total: np.ndarray) -> Iterator[np.ndarray]:
    """S of many draws after each case; the caller may set it back to 0 in place.

    Parameters
    ----------
    event : shape (n, n_draws), true/false
    expected : shape (n,), q of the cases in control
    odds_ratio : R
    total : shape (n_draws,), S before the first case; changed in place, and given after each case
    """
    gain, loss = np.log(odds_ratio), np.log(1 - expected + odds_ratio * np.asarray(expected))
    gained, nought = np.empty_like(total), np.zeros_like(total)
    for happened, less in zip(event, loss, strict=True):
        total += np.multiply(happened, gain, out=gained)
        total -= less
        np.maximum(total, nought, out=total)
        yield total


def maxima(event: np.ndarray, expected: np.ndarray, odds_ratio: float) -> np.ndarray:
    """The largest S of each draw without any new start, shape (n_draws,); parameters as of `sums`."""
    largest = np.zeros(event.shape[1])
    for total in sums(event, expected, odds_ratio, np.zeros(event.shape[1])):
        np.maximum(largest, total, out=largest)
    return largest


def signals_of(event: np.ndarray, expected: np.ndarray, odds_ratio: float, limit: float) -> np.ndarray:
    """How often each draw signals, starting from 0 after each signal, shape (n_draws,); parameters as of `sums`."""
    count = np.zeros(event.shape[1])
    for total in sums(event, expected, odds_ratio, np.zeros(event.shape[1])):
        over = np.flatnonzero(total >= limit - HAIR)
        count[over] += 1
        total[over] = 0.0
    return count


@dataclass(frozen=True)
class Limit:
    """A limit found by simulation.

    Attributes
    ----------
    value : NaN where no simulated maximum is rare enough
    error : Monte Carlo standard error of it
    """

    value: float
    error: float


def limit_of(largest: np.ndarray, false_alarm: float) -> Limit:
    """The smallest simulated maximum M with share(max ≥ M) ≤ `false_alarm`.

    Parameters
    ----------
    largest : shape (n_draws,), the maxima in control
    false_alarm : of a whole sequence
    """
    ordered = np.sort(largest)
    reached = (len(ordered) - np.searchsorted(ordered, ordered - HAIR, side="left")) / len(ordered)
    rare = np.flatnonzero(reached <= false_alarm)
    if len(rare) == 0 or ordered[rare[0]] <= 0:
        return Limit(np.nan, np.nan)
    off = np.sqrt(false_alarm * (1 - false_alarm) / len(ordered))
    low, high = np.quantile(ordered, [max(0.0, 1 - false_alarm - off), min(1.0, 1 - false_alarm + off)])
    return Limit(float(ordered[rare[0]]), float((high - low) / 2))


def run_length(
    cases: Sequence,
    odds_ratio: float,
    limit: float,
    most: int,
    random: np.random.Generator,
    n_draws: int,
    correlation: float,
) -> tuple[float, float]:
    """The median number of cases to a signal at odds × R, at most `most`, and its Monte Carlo error.

    Parameters
    ----------
    cases : the sequence of `most` cases or a few fewer, with the risks expected in control
    odds_ratio, limit, most
    random, n_draws, correlation : as of `Sequence.drawn`
    """
    changed, half = cases.with_odds(odds_ratio), np.sqrt(n_draws) / 2
    enough = min(n_draws, int(np.ceil(n_draws / 2 + half)) + 1)
    when, total, going = np.full(n_draws, float(most)), np.zeros(n_draws), np.ones(n_draws, bool)
    for first, last in _chunks(cases.patient, AT_ONCE):
        event = changed.part(first, last).drawn(random, n_draws, correlation)
        for t, _ in enumerate(sums(event, cases.expected[first:last], odds_ratio, total), start=first + 1):
            over = going & (total >= limit - HAIR)
            when[over] = t
            going &= ~over
            if n_draws - going.sum() >= enough:
                return _median_and_error(when, half)
    return _median_and_error(when, half)


def _median_and_error(when: np.ndarray, half: float) -> tuple[float, float]:
    ordered, n = np.sort(when), len(when)
    low, high = ordered[max(0, int(n / 2 - half))], ordered[min(n - 1, int(n / 2 + half))]
    return float(np.median(ordered)), float((high - low) / 2)


def _chunks(patient: np.ndarray, at_least: int) -> Iterator[tuple[int, int]]:
    """Stretches of cases that end with a patient's last one."""
    ends = np.r_[np.flatnonzero(np.diff(patient)) + 1, len(patient)]
    first = 0
    while first < len(patient):
        last = int(ends[min(np.searchsorted(ends, first + at_least), len(ends) - 1)])
        yield first, last
        first = last
