"""How alike the members of a group are: the intraclass correlation from one-way variance components."""

from dataclasses import dataclass

import numpy as np

from liftseries.models.estimators.clusters import cluster_codes
from liftseries.models.tidy import CONF_LEVEL, NotFitted


@dataclass(frozen=True)
class OneWay:
    """One-way analysis of variance.

    Attributes
    ----------
    between, within : mean squares
    size : what a group counts for, n0; the groups' size where all are alike
    n_groups, n : groups, and members of all
    """

    between: float
    within: float
    size: float
    n_groups: int
    n: int

    @property
    def icc(self) -> float:
        """Variance between groups over the whole variance."""
        return (self.between - self.within) / (self.between + (self.size - 1) * self.within)

    def f_interval(self) -> tuple[float, float]:
        """95 % limits from the F distribution: exact for groups of one size, with n0 for others.

        Source: Shrout and Fleiss 1979, doi:10.1037/0033-2909.86.2.420, ICC(1,1); unequal groups: Thomas and Hultquist
        1978, doi:10.1214/aos/1176344202 (from memory).
        """
        from scipy.special import fdtri

        low_df, high_df = self.n_groups - 1, self.n - self.n_groups
        tail = (1 - CONF_LEVEL) / 2
        f = self.between / self.within
        low, high = f / fdtri(low_df, high_df, 1 - tail), f * fdtri(high_df, low_df, 1 - tail)
        return (low - 1) / (low + self.size - 1), (high - 1) / (high + self.size - 1)


def one_way(y: np.ndarray, cluster: np.ndarray) -> OneWay:
    """One-way analysis of variance of `y`, shape (n,), in groups.

    Raises NotFitted where no group has two members, only one group is there, or nothing varies within groups.

    Source: Donner and Koval 1980, doi:10.2307/2530491 (unequal groups).
    """
    y = np.asarray(y, float)
    codes, n_groups = cluster_codes(cluster)
    n = len(y)
    if n_groups < 2:
        raise NotFitted("all sites belong to one patient" if n else "no site has it recorded")
    if n == n_groups:
        raise NotFitted("no patient has two sites")
    size = np.bincount(codes)
    mean = np.bincount(codes, weights=y) / size
    within = ((y - mean[codes]) ** 2).sum() / (n - n_groups)
    between = (size * (mean - y.mean()) ** 2).sum() / (n_groups - 1)
    if not within > 1e-12 * max(between, 1e-12):
        raise NotFitted("nothing varies within patients")
    return OneWay(float(between), float(within), float((n - (size**2).sum() / n) / (n_groups - 1)), n_groups, n)


def icc_jackknife(y: np.ndarray, cluster: np.ndarray) -> float:
    """Standard error of Fisher's z of the correlation, groups left out one after the other; four of them or more.

    Raises NotFitted where without one group nothing varies.

    Source: Arvesen 1970, doi:10.1214/aoms/1177697279 (from memory); Ukoumunne 2002, doi:10.1002/sim.1330.
    """
    y = np.asarray(y, float)
    codes, k = cluster_codes(cluster)
    size = np.bincount(codes).astype(float)
    total, square = np.bincount(codes, weights=y), np.bincount(codes, weights=y**2)
    within_group = square - total**2 / size
    n = size.sum() - size
    within = (within_group.sum() - within_group) / (n - (k - 1))
    grand = total.sum() - total
    between = ((total**2 / size).sum() - total**2 / size - grand**2 / n) / (k - 2)
    n0 = (n - ((size**2).sum() - size**2) / n) / (k - 2)
    whole = between + (n0 - 1) * within
    if not (whole > 1e-12).all():
        raise NotFitted("without one of the patients nothing varies")
    icc = (between - within) / whole
    z = np.arctanh(np.clip(icc, -0.999999, 0.999999))
    return float(np.sqrt((k - 1) / k * ((z - z.mean()) ** 2).sum()))
