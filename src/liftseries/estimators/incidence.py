"""Events per time observed, its interval from the differences between patients."""

from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import NotFitted, critical_value
from liftseries.estimators.proportion import NO_STD_ERROR, share_of_patients


@dataclass(frozen=True)
class Incidence:
    """Events per unit of time; the fields as those of `Share`.

    Attributes
    ----------
    estimate : events / time
    std_error : NaN where the interval does not come from one
    conf_low, conf_high : NaN where there is no interval
    df : K - 1 of t, None where the interval does not come from it
    note : a remark, where the interval is none of a standard error
    """

    estimate: float
    std_error: float
    conf_low: float
    conf_high: float
    df: int | None
    note: str


def incidence_of_patients(event: np.ndarray, time: np.ndarray, patient: np.ndarray) -> Incidence:
    """Events per time observed, with patients as clusters.

    With K patients, of whom k has x_k events in the time y_k, r = Σ x_k / Y and m the number of patients with an event:

        variance = m / (m - 1) Σ (x_k - r y_k)² / Y²,   log interval with t(K - 1)

    With m below 2 the interval is that of the share of sites with an event (`share_of_patients`), turned into a rate by
    n / Y: what a patient's events could be is bounded by how many patients there were.

    Parameters
    ----------
    event : shape (n,), true/false
    time : shape (n,), ≥ 0
    patient : shape (n,)
        Whose site it is.

    Raises NotFitted with fewer than two patients or without any time.

    Source: the linearised ratio, Cochran 1977, Sampling Techniques, section 6.3 (from memory), as R's `svyratio` over
    clusters but for its factor K / (K - 1); with few events the patients that have one carry the variance, whence m.
    """
    event, time = np.asarray(event, bool), np.asarray(time, float)
    codes, k = cluster_codes(patient)
    if k < 2:
        raise NotFitted(remark("one_patient" if k else "no_site"))
    total = float(time.sum())
    if not total > 0:
        raise NotFitted(remark("no_time_observed"))
    rate = float(event.sum() / total)
    events, times = np.bincount(codes, event, k), np.bincount(codes, time, k)
    m = int((events > 0).sum())
    if m < 2:
        share = share_of_patients(event, patient)
        low, high = (limit * len(event) / total for limit in (share.conf_low, share.conf_high))
        return Incidence(rate, np.nan, low, high, None, share.note)
    std_error = float(np.sqrt(m / (m - 1) * ((events - rate * times) ** 2).sum()) / total)
    if not std_error > NO_STD_ERROR:
        return Incidence(rate, np.nan, np.nan, np.nan, None, remark("zero_std_error"))
    half = critical_value(k - 1) * std_error / rate
    return Incidence(rate, std_error, float(rate * np.exp(-half)), float(rate * np.exp(half)), k - 1, "")
