"""How alike the members of a group are: the intraclass correlation from one-way variance components."""

from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted
from liftseries.estimators.mixed import MixedFit

LOG_RATIOS = (-40.0, 60.0)  # between which the log of a variance ratio is looked for


@dataclass(frozen=True)
class OneWay:
    """One-way analysis of variance.

    Attributes
    ----------
    between, within : mean squares
    size : what a group counts for, n0; the groups' size where all are alike
    group_size, group_mean : shape (n_groups,)
    """

    between: float
    within: float
    size: float
    group_size: np.ndarray
    group_mean: np.ndarray

    @property
    def icc(self) -> float:
        """Variance between groups over the whole variance; `least` where the mean squares would put it lower."""
        found = (self.between - self.within) / (self.between + (self.size - 1) * self.within)
        return max(found, self.least)

    @property
    def least(self) -> float:
        """The lowest correlation that the members of the largest group can have, -1 / (n - 1)."""
        return float(-1 / (self.group_size.max() - 1))

    def f_interval(self) -> tuple[float, float]:
        """95 % limits of the correlation, exact for normal values in groups of any size n where they are not negative.

        With λ the variance between groups over that within, w = n / (1 + n λ) and m the w-weighted mean of the group
        means, Σ w (mean - m)² / (K - 1) over the mean square within has F's distribution at the true λ and falls as λ
        rises; a limit is where it meets the quantile. For λ < 0 the largest groups would decide alone, so a negative
        limit comes from the mean squares, with n0 for n; at 0 the two are one.

        Source: Wald 1940, doi:10.1214/aoms/1177731946 (from memory); in groups of one size the limits of ICC(1,1) in
        Shrout and Fleiss 1979, doi:10.1037/0033-2909.86.2.420.
        """
        from scipy.optimize import brentq
        from scipy.special import expit, fdtri

        low_df, high_df = len(self.group_size) - 1, int(self.group_size.sum()) - len(self.group_size)

        def log_f(log_ratio: float) -> float:
            weight = 1 / (np.exp(log_ratio) + 1 / self.group_size)
            mean = weight @ self.group_mean / weight.sum()
            return float(np.log(weight @ (self.group_mean - mean) ** 2 / low_df / self.within))

        def limit(quantile: float) -> float:
            f = self.between / self.within / quantile
            if f <= 1:
                return max((f - 1) / (f + self.size - 1), self.least)
            log_ratio = brentq(lambda at: log_f(at) - np.log(quantile), *LOG_RATIOS, xtol=1e-13)
            return float(expit(log_ratio))

        tail = (1 - CONF_LEVEL) / 2
        return limit(fdtri(low_df, high_df, 1 - tail)), limit(fdtri(low_df, high_df, tail))


def one_way(y: np.ndarray, cluster: np.ndarray) -> OneWay:
    """One-way analysis of variance of `y`, shape (n,), in groups.

    Raises NotFitted where no group has two members, only one group is there, or nothing varies within groups.

    Source: Donner and Koval 1980, doi:10.2307/2530491 (unequal groups).
    """
    y = np.asarray(y, float)
    codes, n_groups = cluster_codes(cluster)
    n = len(y)
    if n_groups < 2:
        raise NotFitted(remark("one_patient" if n else "value_not_recorded"))
    if n == n_groups:
        raise NotFitted(remark("no_patient_with_two_sites"))
    size = np.bincount(codes)
    mean = np.bincount(codes, weights=y) / size
    within = ((y - mean[codes]) ** 2).sum() / (n - n_groups)
    between = (size * (mean - y.mean()) ** 2).sum() / (n_groups - 1)
    if not within > 1e-12 * max(between, 1e-12):
        raise NotFitted(remark("no_variance_within_patients"))
    return OneWay(float(between), float(within), float((n - (size**2).sum() / n) / (n_groups - 1)), size, mean)


def icc_jackknife(y: np.ndarray, cluster: np.ndarray) -> float:
    """Standard error of Fisher's z of the correlation, groups left out one after the other; four of them or more.

    Raises NotFitted where without one group nothing varies, or no group has two members.

    Source: Arvesen 1969, doi:10.1214/aoms/1177697287; Ukoumunne 2002, doi:10.1002/sim.1330.
    """
    y = np.asarray(y, float)
    codes, k = cluster_codes(cluster)
    size = np.bincount(codes).astype(float)
    if (size > 1).sum() < 2:
        raise NotFitted(remark("one_patient_with_two_sites"))
    total, square = np.bincount(codes, weights=y), np.bincount(codes, weights=y**2)
    within_group = square - total**2 / size
    n = size.sum() - size
    within = (within_group.sum() - within_group) / (n - (k - 1))
    grand = total.sum() - total
    between = ((total**2 / size).sum() - total**2 / size - grand**2 / n) / (k - 2)
    n0 = (n - ((size**2).sum() - size**2) / n) / (k - 2)
    whole = between + (n0 - 1) * within
    if not (whole > 1e-12).all():
        raise NotFitted(remark("no_variance_without_a_patient"))
    icc = (between - within) / whole
    z = np.arctanh(np.clip(icc, -0.999999, 0.999999))
    return float(np.sqrt((k - 1) / k * ((z - z.mean()) ** 2).sum()))


def total_variance_limits(y: np.ndarray, cluster: np.ndarray) -> tuple[float, float]:
    """95 % limits of the variance of a single value, between and within groups, both over its estimate.

    Exact chi-squared limits of the variance of the group means and of that within groups, put together as if each
    were all that is uncertain (MOVER); sound also where no variance between groups is seen. Two groups or more.

    Source: Zou 2013, doi:10.1177/0962280211402548, groups of any size (from memory).
    """
    from scipy.special import chdtri

    codes, k = cluster_codes(cluster)
    size = np.bincount(codes)
    n, mean = len(codes), np.bincount(codes, weights=y) / size
    variance, df = [mean.var(ddof=1)], [k - 1]
    if n > k:
        within = ((y - mean[codes]) ** 2).sum() / (n - k)
        variance.append((1 - (1 / size).mean()) * within)
        df.append(n - k)
    variance, df, tail = np.array(variance), np.array(df), (1 - CONF_LEVEL) / 2
    share = variance / variance.sum()
    below, above = (share * (df / chdtri(df, p) - 1) for p in (tail, 1 - tail))
    return float(1 - np.hypot.reduce(below)), float(1 + np.hypot.reduce(above))


@dataclass(frozen=True)
class NestedIcc:
    """Correlations of two measurements, each with the standard error of its logit; NaN on the boundary.

    Attributes
    ----------
    patient, patient_logit_se : of two sites of a patient
    site, site_logit_se : of one site
    """

    patient: float
    patient_logit_se: float
    site: float
    site_logit_se: float


def nested_icc(model: MixedFit) -> NestedIcc:
    """Correlations from a model with intercepts for the patient and for the site within the patient.

    σ²_patient over the total, and σ²_patient + σ²_site over it; delta method on the logit.
    """
    patient, site = model.patient_variance / model.residual_variance, model.site_variance / model.residual_variance
    total = 1 + patient + site
    se = np.full(2, np.nan)
    if np.isfinite(model.ratio_covariance).all():
        # The logits are log patient / (1 + site) and log (patient + site).
        slopes = np.array([[1 / patient, -1 / (1 + site)], [1 / (patient + site)] * 2])
        se = np.sqrt(np.diag(slopes @ model.ratio_covariance @ slopes.T))
    return NestedIcc(patient / total, float(se[0]), (patient + site) / total, float(se[1]))
