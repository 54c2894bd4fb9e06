"""The mean of measurements at sites that share patients."""

from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import NotFitted


@dataclass(frozen=True)
class Mean:
    """A mean over sites, its error from the differences between patients.

    Attributes
    ----------
    estimate
    std_error : 0 where the patients do not differ
    naive_std_error : as if sites were independent
    df : K - 1, of t
    """

    estimate: float
    std_error: float
    naive_std_error: float
    df: int


def mean_of_patients(value: np.ndarray, patient: np.ndarray) -> Mean:
    """The mean over sites with patients as clusters: variance K / (K - 1) Σ_k (Σ (x - mean))² / n², K patients.

    Parameters
    ----------
    value : shape (n,), one a site
    patient : shape (n,)
        Whose site it is.

    Raises NotFitted with fewer than two patients.

    Source: the linearised mean of clusters drawn with replacement, Cochran 1977, Sampling Techniques, section 11.8
    (from memory).
    """
    codes, k = cluster_codes(patient)
    if k < 2:
        raise NotFitted(remark("one_patient" if k else "no_site"))
    n, mean = len(value), float(np.mean(value))
    of_patient = np.bincount(codes, weights=value - mean, minlength=k)
    return Mean(
        estimate=mean,
        std_error=float(np.sqrt(k / (k - 1) * (of_patient**2).sum()) / n),
        naive_std_error=float(np.std(value, ddof=1) / np.sqrt(n)),
        df=k - 1,
    )
