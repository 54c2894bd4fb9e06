"""How well a score predicts an event, sites clustered in patients: discrimination and calibration."""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.intervals import NotFitted

MAX_ITERATIONS = 100
LARGEST = 30.0  # log odds beyond which a calibration runs off
ALIKE = 1e-9  # predictions that differ by less have no slope
SMALLEST_STEP = 1e-10  # below it a calibration has settled
SINGULAR = 1e-14  # of the trace: an information matrix whose determinant is smaller has no inverse


@dataclass(frozen=True)
class Measure:
    """A measure and its patient-clustered standard error."""

    estimate: float
    std_error: float


def c_statistic(score: np.ndarray, event: np.ndarray, cluster: np.ndarray) -> Measure:
    """The chance that a site with the event has the higher score, ties counting half.

    Parameters
    ----------
    score : shape (n,)
    event : shape (n,), true/false
    cluster : shape (n,)

    Raises NotFitted without an event, or without a site that has none.

    With all events, or all others, in one patient the standard error is NaN.

    Source: Hanley and McNeil 1982, doi:10.1148/radiology.143.1.7063747; clustered: Obuchowski 1997,
    doi:10.2307/2533958, patients' sums of placement values, each kind of site with its own factor.
    """
    event = np.asarray(event, bool)
    score = np.asarray(score, float)
    m, n = int(event.sum()), int((~event).sum())
    if m == 0 or n == 0:
        raise NotFitted(remark("no_perforation_to_predict" if m == 0 else "all_perforated_none_to_predict"))
    with_event, without = np.sort(score[event]), np.sort(score[~event])
    # A site's placement: the share of the other kind that it lies on the right side of.
    placement = np.empty(len(score))
    left, right = (np.searchsorted(without, score[event], side=side) for side in ("left", "right"))
    placement[event] = (left + right) / 2 / n
    left, right = (np.searchsorted(with_event, score[~event], side=side) for side in ("left", "right"))
    placement[~event] = 1 - (left + right) / 2 / m
    c = float(placement[event].mean())
    codes, k = cluster_codes(cluster)
    influence = (placement - c) / np.where(event, m, n)
    of_events, of_others = (np.bincount(codes[kind], influence[kind], k) for kind in (event, ~event))
    k_events, k_others = (len(np.unique(codes[kind])) for kind in (event, ~event))
    if min(k_events, k_others) < 2:
        return Measure(c, np.nan)
    variance = (
        k_events / (k_events - 1) * of_events @ of_events
        + k_others / (k_others - 1) * of_others @ of_others
        + 2 * k / (k - 1) * of_events @ of_others
    )
    return Measure(c, float(np.sqrt(max(variance, 0.0))))


def calibration_intercept(log_odds: np.ndarray, event: np.ndarray, cluster: np.ndarray) -> Measure:
    """What must be added to predicted log odds for their risks to be right on average; 0 is well calibrated.

    Raises NotFitted without an event, or without a site that has none.

    Source: Steyerberg 2019, Clinical Prediction Models, chapter 15 (from memory).
    """
    return _calibrated(np.ones((len(log_odds), 1)), log_odds, event, cluster, 0)


def calibration_slope(log_odds: np.ndarray, event: np.ndarray, cluster: np.ndarray) -> Measure:
    """By what predicted log odds must be multiplied; below 1 the predictions are too bold.

    Raises NotFitted as `calibration_intercept`, and where all predictions are alike.

    Source: as `calibration_intercept`; Cox 1958, doi:10.1093/biomet/45.3-4.562.
    """
    if np.ptp(log_odds) < ALIKE:
        raise NotFitted(remark("predictions_alike"))
    return _calibrated(np.column_stack([np.ones(len(log_odds)), log_odds]), np.zeros(len(log_odds)), event, cluster, 1)


def _calibrated(x, offset, event, cluster, which: int) -> Measure:
    """A coefficient of a logistic model with an offset, and its clustered standard error."""
    y = np.asarray(event, float)
    if not y.any() or y.all():
        raise NotFitted(remark("all_perforated_none_to_predict" if y.any() else "no_perforation_to_predict"))
    beta = np.zeros(x.shape[1])
    for _ in range(MAX_ITERATIONS):
        risk = expit(x @ beta + offset)
        information = (x * (risk * (1 - risk))[:, None]).T @ x
        if not np.linalg.det(information) > SINGULAR * np.trace(information) ** len(beta):
            break
        step = np.linalg.solve(information, x.T @ (y - risk))
        beta = beta + step / max(1.0, np.abs(step).max() / 3)
        if np.abs(beta).max() > LARGEST:
            break
        if np.abs(step).max() < SMALLEST_STEP:
            codes, k = cluster_codes(cluster)
            sums = cluster_sums(codes, k, x * (y - risk)[:, None])
            inverse = np.linalg.inv(information)
            covariance = k / max(k - 1, 1) * inverse @ (sums.T @ sums) @ inverse
            return Measure(float(beta[which]), float(np.sqrt(covariance[which, which])))
    raise NotFitted(remark("predictions_separate"))
