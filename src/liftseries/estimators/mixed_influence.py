"""Influence of each patient on the fixed effects of a mixed model with its variances fitted anew.

`mixed_clustered` leaves the variances as they are; here the derivative in a patient's weight follows them too: the
restricted likelihood of weighted patients has Σ w_k of each patient's part, n = Σ w_k n_k and log|Σ w_k X_k'V_k⁻¹X_k|.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.mixed import MixedFit

BOUNDARY = 1e-7  # of the residual variance: a variance this small is at its bound and stays there
STEP = 1e-5


def refitted_influence(
    fit: MixedFit, y: np.ndarray, x: np.ndarray, patient: np.ndarray, site: np.ndarray
) -> np.ndarray:
    """The derivative of the coefficients in the weight of each patient, at weight 1, variances fitted anew.

    Parameters
    ----------
    fit : of `mixed_reml`, with either, both or none of the intercepts
    y : shape (n,), as fitted
    x : shape (n, p), as fitted
    patient, site : shape (n,)
        Each site lies within one patient.

    Returns
    -------
    shape (n_patients, p), patients in order of appearance
    """
    variances = (fit.patient_variance, fit.site_variance)
    gamma = np.array([np.nan_to_num(variance) / fit.residual_variance for variance in variances])
    free = np.flatnonzero(gamma > BOUNDARY)
    q, r = np.linalg.qr(x)
    parts = _Parts(q * np.sqrt(len(y)), np.asarray(y, float), patient, site)
    found = parts.at(gamma)
    p, contrast, inverse = x.shape[1], found.contrast, found.inverse
    moved = found.cross.times(contrast)[:, :p] @ inverse
    if len(free):
        hessian = np.empty((len(free), len(free)))
        for column, j in enumerate(free):
            up, down = gamma.copy(), gamma.copy()
            up[j] += STEP * gamma[j]
            down[j] -= STEP * gamma[j]
            ahead, behind = (parts.at(one).gradient()[free] for one in (up, down))
            hessian[:, column] = (ahead - behind) / (up[j] - down[j])
        by_patient = found.gradient_by_patient(moved)[:, free]
        of_gamma = -np.linalg.solve(hessian, by_patient.T).T
        moved = moved + of_gamma @ (found.pulls()[free] @ inverse)
    return moved @ np.linalg.inv(r).T * np.sqrt(len(y))


@dataclass(frozen=True)
class _Squares:
    """Σ weight row row' within each of k patients, shape (k, q, q) were it written out, which would fill the memory.

    Attributes
    ----------
    k
    layers : each of shape (n,) which patient, shape (n, q) rows, shape (n,) weights
    """

    k: int
    layers: tuple[tuple[np.ndarray, np.ndarray, np.ndarray], ...]

    @cached_property
    def total(self) -> np.ndarray:
        """Over all patients, shape (q, q)."""
        return sum((rows * weight[:, None]).T @ rows for _, rows, weight in self.layers)

    def times(self, c: np.ndarray) -> np.ndarray:
        """Each patient's times c, shape (k, q)."""
        layers = self.layers
        return sum(cluster_sums(codes, self.k, rows * (weight * (rows @ c))[:, None]) for codes, rows, weight in layers)

    def traces(self, a: np.ndarray) -> np.ndarray:
        """The trace of a times each patient's, shape (k,); a of shape (q, q)."""
        return sum(
            np.bincount(codes, weights=weight * ((rows @ a) * rows).sum(axis=1), minlength=self.k)
            for codes, rows, weight in self.layers
        )


@dataclass(frozen=True)
class _Point:
    """The weighted criterion's parts at some γ, one a patient; `cross` and its slopes by γ are of the columns [x y]."""

    size: np.ndarray
    cross: _Squares
    slopes: tuple[_Squares, ...]
    log_det_slopes: np.ndarray

    @property
    def p(self) -> int:
        return len(self.cross.total) - 1

    @cached_property
    def inverse(self) -> np.ndarray:
        return np.linalg.inv(self.cross.total[:-1, :-1])

    @property
    def contrast(self) -> np.ndarray:
        """[-β, 1]."""
        return np.r_[-self.inverse @ self.cross.total[:-1, -1], 1.0]

    def pulls(self) -> np.ndarray:
        """Σ X'(dV⁻¹/dγ) r, shape (2, p)."""
        return np.array([slopes.total @ self.contrast for slopes in self.slopes])[:, : self.p]

    def gradient(self) -> np.ndarray:
        """Of -2 restricted log-likelihood by γ, shape (2,)."""
        c, df = self.contrast, self.size.sum() - self.p
        rss = c @ self.cross.total @ c
        slopes = np.array([slopes.total for slopes in self.slopes])
        traces = np.einsum("ij,gji->g", self.inverse, slopes[:, :-1, :-1])
        return df * (slopes @ c @ c) / rss + self.log_det_slopes.sum(axis=1) + traces

    def gradient_by_patient(self, moved: np.ndarray) -> np.ndarray:
        """How that gradient changes with the weight of each patient, shape (K, 2); `moved` is dβ at fixed γ."""
        c, inverse, df = self.contrast, self.inverse, self.size.sum() - self.p
        rss = c @ self.cross.total @ c
        of_residual = np.outer(c, c)
        own = self.cross.traces(of_residual)
        found = []
        for slopes, log_det in zip(self.slopes, self.log_det_slopes, strict=True):
            total = slopes.total
            of_rss = c @ total @ c
            change = slopes.traces(of_residual) - 2 * moved @ (total @ c)[:-1] - of_rss * own / rss
            squeezed = inverse @ total[:-1, :-1] @ inverse
            traces = slopes.traces(_bordered(inverse)) - self.cross.traces(_bordered(squeezed))
            found.append(self.size * of_rss / rss + df * change / rss + log_det + traces)
        return np.column_stack(found)


def _bordered(of_x: np.ndarray) -> np.ndarray:
    """A matrix of the columns x as one of [x y]."""
    return np.pad(of_x, ((0, 1), (0, 1)))


class _Parts:
    """Sums of fixed data from which a patient's part of the criterion follows at any γ."""

    def __init__(self, x, y, patient, site):
        self.rows = np.column_stack([x, y])
        self.row_patient, self.k = cluster_codes(patient)
        row_site, self.n_sites = cluster_codes(site)
        self.site_patient = np.empty(self.n_sites, int)
        self.site_patient[row_site] = self.row_patient
        self.size = np.bincount(self.row_patient, minlength=self.k).astype(float)
        self.site_size = np.bincount(row_site).astype(float)
        self.sums = cluster_sums(row_site, self.n_sites, self.rows)

    def at(self, gamma: np.ndarray) -> _Point:
        of_patient, of_site = gamma
        owner, patients = self.site_patient, np.arange(self.k)
        shrink = 1 / (1 + self.site_size * of_site)
        u, w = self.sums * shrink[:, None], self.site_size * shrink
        total, weight = cluster_sums(owner, self.k, u), np.bincount(owner, weights=w, minlength=self.k)
        common = 1 / (1 + of_patient * weight)
        plain = (self.row_patient, self.rows, np.ones(len(self.rows)))
        shared = (owner, self.sums, -of_site * shrink), (patients, total, -of_patient * common)
        # 1'V⁻¹[x y] of a patient's rows, and of a site's rows: V⁻¹ falls by their product where γ rises.
        toward_site = u - (of_patient * common)[owner, None] * w[:, None] * total[owner]
        slopes = (patients, total, -(common**2)), (owner, toward_site, -np.ones(self.n_sites))
        of_sites = np.bincount(owner, weights=w - (of_patient * common)[owner] * w**2, minlength=self.k)
        return _Point(
            self.size,
            _Squares(self.k, (plain, *shared)),
            tuple(_Squares(self.k, (one,)) for one in slopes),
            np.array([weight * common, of_sites]),
        )
