"""Linear mixed model by REML: random intercepts for the patient and for the site within the patient.

With γ a variance over the residual variance, the inverse of a patient's covariance needs only sums by site
and by patient: a site's n rows weigh w = n / (1 + n γ_site), a patient's sites together W / (1 + W
γ_patient), W = Σ w. A variance of zero is a legal answer, not a failure.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import minimize

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.intervals import NotFitted

NEAR_ONE = 1 - 1e-9  # a share of the variance this near to 1 leaves no residual variance
STARTS = (0.05, 0.3, 0.7)
POLISHING_STEPS = 30


@dataclass(frozen=True)
class MixedFit:
    """A fitted linear mixed model.

    Attributes
    ----------
    coefficients : shape (p,)
    covariance : shape (p, p)
        σ² (X' V⁻¹ X)⁻¹ at the estimated variances.
    patient_variance, site_variance : NaN where the model has no such intercept
    residual_variance
    log_likelihood : restricted
    total_variance_log_se : standard error of the log of the total variance; NaN on the boundary
    ratio_covariance : shape (k, k), of patient and site variance over the residual one; NaN on the boundary
        k intercepts, the patient's first.
    """

    coefficients: np.ndarray
    covariance: np.ndarray
    patient_variance: float
    site_variance: float
    residual_variance: float
    log_likelihood: float
    total_variance_log_se: float
    ratio_covariance: np.ndarray

    @property
    def std_error(self) -> np.ndarray:
        return np.sqrt(np.diag(self.covariance))

    @property
    def total_variance(self) -> float:
        return float(np.nansum([self.patient_variance, self.site_variance, self.residual_variance]))


def mixed_reml(
    y: np.ndarray, x: np.ndarray, patient: np.ndarray | None = None, site: np.ndarray | None = None
) -> MixedFit:
    """Fit by REML, the variance ratios bounded below by zero.

    Parameters
    ----------
    y : shape (n,)
    x : shape (n, p)
        Of full column rank, the first column constant.
    patient : shape (n,), or None for no patient intercept
    site : shape (n,), or None for no site intercept
        Each site lies within one patient.

    Returns
    -------
    MixedFit

    Raises
    ------
    NotFitted
        No more rows than columns, no scatter about the fit, or no maximum found.

    Source: Patterson and Thompson 1971, doi:10.1093/biomet/58.3.545; equal to R's `lme` and `lmer`.
    """
    y = np.asarray(y, float)
    n, p = x.shape
    if n <= p:
        raise NotFitted(remark("too_few_measurements", n_measurements=n, n_coefficients=p))
    q, r = np.linalg.qr(x)
    z = q * np.sqrt(n)
    centred = y - z @ (z.T @ y) / n
    if np.linalg.norm(centred) <= 1e-10 * max(np.linalg.norm(y), np.sqrt(n) * 1e-6):
        raise NotFitted(remark("no_residual_variance"))
    criterion = _Reml(z, y, patient, site)
    shares = _best_shares(criterion)

    gamma = shares / (1 - shares)
    minus_two_log_likelihood, _, beta, inverse, residual_variance = criterion(gamma)
    back = solve_triangular(r, np.eye(p)) * np.sqrt(n)
    variances = dict(zip(criterion.intercepts, gamma * residual_variance, strict=True))
    # The criterion stood on orthonormal columns: log|X'V⁻¹X| of the caller's columns is larger by 2
    # log|R/√n|.
    ratio_covariance = _ratio_covariance(criterion, gamma)
    rescaled = 2 * np.log(np.abs(np.diag(r) / np.sqrt(n))).sum()
    return MixedFit(
        coefficients=back @ beta,
        covariance=back @ (inverse * residual_variance) @ back.T,
        patient_variance=float(variances.get("patient", np.nan)),
        site_variance=float(variances.get("site", np.nan)),
        residual_variance=float(residual_variance),
        log_likelihood=float(-(minus_two_log_likelihood + rescaled) / 2),
        total_variance_log_se=_total_variance_log_se(criterion, gamma, ratio_covariance),
        ratio_covariance=ratio_covariance,
    )


class _Reml:
    """-2 × restricted log-likelihood of the variance ratios γ, profiled over β and σ²; with its gradient."""

    def __init__(self, x, y, patient, site):
        self.n, self.p = x.shape
        m = np.column_stack([x, y])
        self.cross = m.T @ m
        self.intercepts = [name for name, ids in (("patient", patient), ("site", site)) if ids is not None]
        rows = np.arange(self.n)
        unit = rows if site is None else cluster_codes(site)[0]
        n_units = int(unit.max()) + 1
        self.size = np.bincount(unit).astype(float)
        self.sums = m if site is None else cluster_sums(unit, n_units, m)
        # A row of each unit stands for it: its patient is theirs.
        representative = np.empty(n_units, int)
        representative[unit] = rows
        if patient is not None:
            self.patient, self.n_patients = cluster_codes(np.asarray(patient)[representative])

    def __call__(self, gamma):
        """-2 log-likelihood, its gradient by γ, β, (X'V⁻¹X)⁻¹ and σ²."""
        ratio = dict(zip(self.intercepts, gamma, strict=True))
        g_site, g_patient = ratio.get("site", 0.0), ratio.get("patient", 0.0)
        shrink = 1 / (1 + self.size * g_site)
        u, w = self.sums * shrink[:, None], self.size * shrink
        information = self.cross - (self.sums * (g_site * shrink)[:, None]).T @ self.sums
        log_det = -np.log(shrink).sum()
        if "patient" in ratio:
            total = np.bincount(self.patient, weights=w, minlength=self.n_patients)
            u_total = cluster_sums(self.patient, self.n_patients, u)
            common = 1 / (1 + g_patient * total)
            information = information - (u_total * (g_patient * common)[:, None]).T @ u_total
            log_det -= np.log(common).sum()
            pulled = (g_patient * common)[self.patient] * w
            toward = {
                "patient": (u_total * common[:, None], (total * common).sum()),
                "site": (u - pulled[:, None] * u_total[self.patient], (w - pulled * w).sum()),
            }
        else:
            toward = {"site": (u, w.sum())}

        xx, xy = information[:-1, :-1], information[:-1, -1]
        inverse = np.linalg.inv(xx)
        beta = inverse @ xy
        contrast = np.r_[-beta, 1.0]
        rss = contrast @ information @ contrast
        df = self.n - self.p
        value = df * (np.log(2 * np.pi * rss / df) + 1) + log_det + np.linalg.slogdet(xx)[1]
        gradient = []
        for name in self.intercepts:
            h, trace = toward[name]
            projected = ((h[:, :-1] @ inverse) * h[:, :-1]).sum()
            gradient.append(trace - projected - df * ((h @ contrast) ** 2).sum() / rss)
        return value, np.array(gradient), beta, inverse, rss / df

    def by_share(self, shares):
        """Value and gradient by the shares ρ = γ / (1 + γ), which lie in [0, 1)."""
        shares = np.asarray(shares, float)
        value, gradient, *_ = self(shares / (1 - shares))
        return value, gradient / (1 - shares) ** 2


def _best_shares(criterion: _Reml) -> np.ndarray:
    """Minimise over the shares: several bounded starts, then Newton on those that are not zero."""
    k = len(criterion.intercepts)
    if k == 0:
        return np.zeros(0)
    found = [
        minimize(
            criterion.by_share,
            np.full(k, start),
            jac=True,
            method="L-BFGS-B",
            bounds=[(0.0, NEAR_ONE)] * k,
            options={"ftol": 1e-15, "gtol": 1e-9},
        )
        for start in STARTS
    ]
    best = min(found, key=lambda one: one.fun)
    shares = _polished(criterion, best.x)
    value, gradient = criterion.by_share(shares)
    if shares.max() > 1 - 1e-7:
        raise NotFitted(remark("no_variance_within"))
    at_zero = (shares == 0) & (gradient > 0)
    if not np.isfinite(value) or np.abs(gradient[~at_zero]).max(initial=0.0) > 1e-4 * (1 + abs(value)):
        raise NotFitted(remark("no_maximum_restricted"))
    return shares


def _polished(criterion: _Reml, shares: np.ndarray) -> np.ndarray:
    """Newton's method on the gradient, shares that want to fall below zero held at zero."""
    shares = shares.copy()
    for _ in range(POLISHING_STEPS):
        value, gradient = criterion.by_share(shares)
        free = (shares > 0) | (gradient < 0)
        if not free.any():
            break
        hessian = _hessian(criterion.by_share, shares)[np.ix_(free, free)]
        if np.linalg.eigvalsh(hessian).min() <= 0:
            break
        step = np.zeros_like(shares)
        step[free] = -np.linalg.solve(hessian, gradient[free])
        trial = np.clip(shares + step, 0.0, NEAR_ONE)
        if criterion.by_share(trial)[0] > value + 1e-9 * abs(value):
            break
        moved = np.abs(trial - shares).max()
        shares = trial
        if moved < 1e-12:
            break
    return shares


def _hessian(function, at: np.ndarray) -> np.ndarray:
    """Second derivatives from the analytic gradient: central differences, one-sided at zero."""
    rows = []
    for j in range(len(at)):
        width = 1e-5 * min(1.0, 1 - at[j])
        up, down = at.copy(), at.copy()
        up[j] += width
        down[j] = max(down[j] - width, 0.0)
        rows.append((function(up)[1] - function(down)[1]) / (up[j] - down[j]))
    hessian = np.array(rows)
    return (hessian + hessian.T) / 2


def _ratio_covariance(criterion: _Reml, gamma: np.ndarray) -> np.ndarray:
    """Covariance of the γ: their information along the profile is half the Hessian of -2 log L.

    On the boundary no such expansion exists.
    """
    k = len(gamma)
    if k and gamma.min() <= 0:
        return np.full((k, k), np.nan)
    hessian = np.empty((k, k))
    for j in range(k):
        up, down, width = _either_side(gamma, j)
        hessian[j] = (criterion(up)[1] - criterion(down)[1]) / (2 * width)
    hessian = (hessian + hessian.T) / 2
    if k and np.linalg.eigvalsh(hessian).min() <= 0:
        return np.full((k, k), np.nan)
    return np.linalg.inv(hessian / 2)


def _total_variance_log_se(criterion: _Reml, gamma: np.ndarray, covariance: np.ndarray) -> float:
    """Standard error of T = log σ²(γ) + log(1 + Σγ) by the delta method.

    The information of (γ, log σ²) splits into that of γ and Var(log σ² | γ) = 2 / (n - p).
    """
    if np.isnan(covariance).any():
        return np.nan

    def log_total(g):
        return np.log(criterion(g)[4]) + np.log1p(g.sum())

    slope = np.empty(len(gamma))
    for j in range(len(gamma)):
        up, down, width = _either_side(gamma, j)
        slope[j] = (log_total(up) - log_total(down)) / (2 * width)
    return float(np.sqrt(slope @ covariance @ slope + 2 / (criterion.n - criterion.p)))


def _either_side(gamma: np.ndarray, j: int) -> tuple[np.ndarray, np.ndarray, float]:
    """γ with its j-th a little larger, a little smaller, and by how much."""
    width = 1e-5 * gamma[j]
    up, down = gamma.copy(), gamma.copy()
    up[j] += width
    down[j] -= width
    return up, down, width


def least_squares_std_error(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Standard errors of a linear model that takes all measurements as independent, shape (p,)."""
    beta, *_ = np.linalg.lstsq(x, y, rcond=None)
    variance = ((y - x @ beta) ** 2).sum() / (len(y) - x.shape[1])
    return np.sqrt(variance * np.diag(np.linalg.inv(x.T @ x)))
