"""Survival by a month where few patients have lost an implant: the headline rows of the analyses by month.

With m the patients who have a failure by the month and K those followed to it (with an implant observed until then or
longer), the variance of the infinitesimal jackknife is multiplied by m / (m - 1): the patients with a failure carry it.
With m = 1 the interval is the exact one of 1 in K patients, widened to hold what was seen; with m = 0 it is the bound
of one side, 1 - 0.05^(1/K), both of the share failed; as `share_of_patients` does for sites.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import joined, remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.estimators.kaplan_meier import numbers_at
from liftseries.estimators.proportion import exact, largest_risk
from liftseries.models.shared.gates import at_risk_gate

METHOD = "corrected"
Limits = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class ByMonth:
    """Who has failed by each of some months and who is followed to it; arrays of shape (n_months,).

    Attributes
    ----------
    n_failing : m, patients with a failure by the month, that month among them
    n_followed : K, patients with an implant followed to the month, that month among them
    n_at_risk : implants followed to the month
    n_implants : all of them
    """

    n_failing: np.ndarray
    n_followed: np.ndarray
    n_at_risk: np.ndarray
    n_implants: int

    def std_error(self, plain: np.ndarray) -> np.ndarray:
        """A jackknife's standard error corrected, NaN where at most one patient has a failure."""
        m = np.maximum(self.n_failing, 1)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(m > 1, plain * np.sqrt(m / (m - 1)), np.nan)

    def risk_bounds(self, risk: np.ndarray) -> Limits:
        """Limits of the share failed where at most one patient has a failure; NaN elsewhere, and with K < 2."""
        risk = np.asarray(risk, float)
        low, high = np.full(risk.shape, np.nan), np.full(risk.shape, np.nan)
        for j in np.flatnonzero((self.n_failing < 2) & (self.n_followed > 1) & np.isfinite(risk)):
            k = int(self.n_followed[j])
            limits = exact(1, k) if self.n_failing[j] else (0.0, largest_risk(k))
            low[j], high[j] = min(limits[0], risk[j]), max(limits[1], risk[j])
        return low, high


def by_month(months: np.ndarray, failed: np.ndarray, patient: np.ndarray, at) -> ByMonth:
    """Who has failed by the months of `at`, and who is followed to them.

    Parameters
    ----------
    months : shape (n,)
    failed : shape (n,), true/false
    patient : shape (n,)
        Whose implant it is.
    at : shape (n_months,)
    """
    months, failed, at = np.asarray(months, float), np.asarray(failed, bool), np.asarray(at, float)
    codes, n_patients = cluster_codes(patient)
    first_failure, last = np.full(n_patients, np.inf), np.full(n_patients, -np.inf)
    np.minimum.at(first_failure, codes[failed], months[failed])
    np.maximum.at(last, codes, months)
    return ByMonth(
        n_failing=np.searchsorted(np.sort(first_failure), at, side="right"),
        n_followed=n_patients - np.searchsorted(np.sort(last), at, side="left"),
        n_at_risk=numbers_at(months, failed, at)[0],
        n_implants=len(months),
    )


def corrected_rows(
    plain: list[dict], seen: ByMonth, risk: np.ndarray, of_risk: Callable, limits: Callable[..., Limits]
) -> list[dict]:
    """The headline rows of an analysis by month.

    Parameters
    ----------
    plain : its rows with the infinitesimal jackknife, a month each
    seen : of the same months
    risk : shape (n_months,), the share failed, of which the bounds are
    of_risk : what a share failed, shape (n_months,), is on the analysis' own scale
    limits : of a standard error, shape (n_months,), as the analysis makes them
    """
    std_error = seen.std_error(np.array([row["std_error"] for row in plain], float))
    intervals = np.array(limits(std_error))
    bounds = np.sort(np.array([of_risk(limit) for limit in seen.risk_bounds(risk)]), axis=0)
    rows = []
    for j, row in enumerate(plain):
        row = row | {"method": METHOD, "std_error": np.nan, "conf_low": np.nan, "conf_high": np.nan}
        gate = at_risk_gate(int(seen.n_at_risk[j]), seen.n_implants)
        if np.isnan(row["estimate"]):
            rows.append(row)
        elif np.isfinite(bounds[:, j]).all():
            told = remark("bound_without_failure" if seen.n_failing[j] == 0 else "bound_of_one_patient")
            rows.append(_with(row, bounds[:, j], gate, df=None, note=joined(told, gate), problem=""))
        elif seen.n_failing[j] < 2:
            why = remark("too_few_patients_followed", n_patients=int(seen.n_followed[j]))
            rows.append(row | {"df": None, "note": gate, "problem": why})
        elif np.isfinite(std_error[j]) and np.isfinite(intervals[:, j]).all():
            rows.append(_with(row, intervals[:, j], gate, std_error=std_error[j], note=joined(row["note"], gate)))
        else:
            rows.append(row | {"note": joined(row["note"], gate)})
    return rows


def interleaved(*rows: list[dict]) -> list[dict]:
    """Month by month, a method after the other."""
    return [row for of_month in zip(*rows, strict=True) for row in of_month]


def _with(row: dict, limits: np.ndarray, gate: str, **columns) -> dict:
    """A row with its interval; the headline where enough implants are at risk."""
    interval = {"conf_low": float(limits[0]), "conf_high": float(limits[1]), "conf_level": CONF_LEVEL}
    return row | interval | {"headline": not gate} | columns
