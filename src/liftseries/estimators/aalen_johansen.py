"""Cumulative incidence of failure with death competing, its variance clustered in patients.

With F the incidence, S the chance to be free of both events and G the sum in Greenwood's formula, an implant
contributes to F(t), as long as it is observed, B(t) = Σ_{u ≤ t} S(u-) d_u / n_u (G(u-) - 1 / n_u); once it fell out at
time s, B(s) + [failed] S(s-) / n_s - a (F(t) - F(s)) with a = [either event] / (n_s - d_s) - G(s). Summed within
patients these are running totals over sorted times.
"""

from dataclasses import dataclass

import numpy as np

from liftseries.estimators.clusters import cluster_codes, running_products


@dataclass(frozen=True)
class AalenJohansen:
    """Incidences at each time of an event.

    Attributes
    ----------
    months : shape (n_times,), rising
    failure, death : shape (n_times,), cumulative incidences
    std_error : shape (n_times,)
        Of `failure`, patient-clustered.
    last_month : the last time anyone was under observation; NaN without an implant
    """

    months: np.ndarray
    failure: np.ndarray
    death: np.ndarray
    std_error: np.ndarray
    last_month: float

    def at(self, months) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Incidence of failure, its standard error and incidence of death at months; NaN after the end."""
        months = np.asarray(months, float)
        step = np.searchsorted(self.months, months, side="right")
        over = len(self.months) > 0 and self.failure[-1] + self.death[-1] >= 1 - 1e-12
        beyond = ~(months <= self.last_month) & (not over)
        columns = (self.failure, self.std_error, self.death)
        return tuple(np.where(beyond, np.nan, np.r_[0.0, column][step]) for column in columns)


def aalen_johansen(months: np.ndarray, failed: np.ndarray, died: np.ndarray, cluster: np.ndarray) -> AalenJohansen:
    """Aalen-Johansen estimate with a clustered infinitesimal-jackknife standard error.

    Parameters
    ----------
    months : shape (n,)
    failed, died : shape (n,), true/false
        Never both.
    cluster : shape (n,)
        Whose implant it is.

    Returns
    -------
    AalenJohansen

    Source: Aalen and Johansen 1978, Scandinavian Journal of Statistics 5:141 (from memory); with one implant a patient
    the standard error is that of R's `survfit` for multi-state data.
    """
    months, failed, died = np.asarray(months, float), np.asarray(failed, bool), np.asarray(died, bool)
    times, when = np.unique(months, return_inverse=True)
    n_times = len(times)
    n = np.cumsum(np.bincount(when)[::-1])[::-1]
    d_failed = np.bincount(when, weights=failed)
    d_died = np.bincount(when, weights=died)
    d = d_failed + d_died
    free = np.cumprod(1 - d / n)
    free_before = np.r_[1.0, free[:-1]]
    failure = np.cumsum(free_before * d_failed / n)
    death = np.cumsum(free_before * d_died / n)
    with np.errstate(divide="ignore"):
        jump = np.where((d > 0) & (n > d), 1 / (n - d), 0.0)
    greenwood = np.cumsum(jump * d / n)
    greenwood_before = np.r_[0.0, greenwood[:-1]]
    observed = np.cumsum(free_before * d_failed / n * (greenwood_before - 1 / n))  # B

    a = np.where(failed | died, jump[when], 0.0) - greenwood[when]
    stays = observed[when] + np.where(failed, (free_before / n)[when], 0.0) + a * failure[when]
    v = running_products(cluster_codes(cluster)[0], when, np.column_stack([stays, a]), n_times)
    weight = np.column_stack([observed, np.ones(n_times), -failure])
    variance = np.einsum("tj,tjk,tk->t", weight, v, weight)
    # Patients may cancel exactly; what is left then is the rounding of totals that once were larger.
    once = np.maximum.accumulate(np.abs(v), axis=0)
    rounding = 1e-12 * np.einsum("tj,tjk,tk->t", np.abs(weight), once, np.abs(weight))
    std_error = np.sqrt(np.where(variance > rounding, variance, 0.0))
    event = d > 0
    return AalenJohansen(
        months=times[event],
        failure=failure[event],
        death=death[event],
        std_error=std_error[event],
        last_month=float(times[-1]) if n_times else np.nan,
    )
