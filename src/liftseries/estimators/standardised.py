"""Risks standardised from a penalised logistic model, its intercept moved until the mean risk is the observed share.

Firth's penalty draws the mean risk towards one half. With events few that is much of the risk itself, so the intercept
is moved back; and each refit without a patient moves its own.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.patients_left_out import CELLS_AT_ONCE, jackknife_groups

MOST_STEPS, SETTLED, LARGEST_STEP, FLATTEST = 100, 1e-12, 2.0, 1e-12


def moved_intercepts(log_odds: np.ndarray, event: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """What is added to the log odds of each fit until its mean risk is the share of events among the sites it keeps.

    Parameters
    ----------
    log_odds : shape (n_fits, n)
    event : shape (n,), true/false
    kept : shape (n_fits, n), true/false

    Returns
    -------
    shape (n_fits,)

    Raises
    ------
    NotFitted
        A fit keeps no event, or nothing but events.

    Source: recalibration in the large; for Firth's model Puhr and others 2017, doi:10.1002/sim.7273 (FLIC).
    """
    n_kept = kept.sum(axis=1)
    share = (kept & event).sum(axis=1) / n_kept
    if not ((share > 0) & (share < 1)).all():
        raise NotFitted(remark("no_event" if (share == 0).any() else "all_events"))
    moved = np.zeros(len(log_odds))
    for _ in range(MOST_STEPS):
        risk = expit(log_odds + moved[:, None]) * kept
        slope = np.maximum((risk * (1 - risk)).sum(axis=1) / n_kept, FLATTEST)
        step = np.clip((share - risk.sum(axis=1) / n_kept) / slope, -LARGEST_STEP, LARGEST_STEP)
        moved = moved + step
        if np.abs(step).max() < SETTLED:
            break
    return moved


class StandardisedRisks:
    """Mean risks over all sites with a column set, and the same of every refit without a patient.

    Parameters
    ----------
    x : shape (n, p), the first column constant
    event : shape (n,), true/false
    cluster : shape (n,)
    coefficients : shape (p,), of `firth_logistic`
    refits : shape (n_groups, p), of `firth_logistic_refits`; no row where there are none

    Raises
    ------
    NotFitted
        Without one of the patients nothing, or nothing but events, is left.
    """

    def __init__(self, x, event, cluster, coefficients: np.ndarray, refits: np.ndarray):
        n = len(event)
        group = jackknife_groups(cluster)[0]
        self.group, self.coefficients, self.refits = group, self._moved(x, event, coefficients), refits
        self.at_once = max(1, CELLS_AT_ONCE // n)
        parts = [
            moved_intercepts(refits[first : first + self.at_once] @ x.T, event, self._kept(first))
            for first in range(0, len(refits), self.at_once)
        ]
        if parts:
            self.refits = refits.copy()
            self.refits[:, 0] += np.concatenate(parts)

    @staticmethod
    def _moved(x, event, coefficients) -> np.ndarray:
        everybody = np.ones((1, len(event)), bool)
        moved = moved_intercepts((x @ coefficients)[None, :], event, everybody)
        return np.r_[coefficients[0] + moved[0], coefficients[1:]]

    def _kept(self, first: int) -> np.ndarray:
        groups = np.arange(first, min(first + self.at_once, len(self.refits)))
        return self.group[None, :] != groups[:, None]

    def site_risks(self, setting: np.ndarray) -> np.ndarray:
        """Each site's risk with a column set as in `setting`, shape (n, p); shape (n,)."""
        return expit(setting @ self.coefficients)

    def replicates(self, setting: np.ndarray) -> np.ndarray:
        """The mean risk of each refit over the sites that it keeps; shape (n_groups,)."""
        found = []
        for first in range(0, len(self.refits), self.at_once):
            kept = self._kept(first)
            risk = expit(self.refits[first : first + self.at_once] @ setting.T)
            found.append((risk * kept).sum(axis=1) / kept.sum(axis=1))
        return np.concatenate(found) if found else np.empty(0)
