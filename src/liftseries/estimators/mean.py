"""The mean of sites that share patients, and its standard error from the differences between patients."""

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import NotFitted


def mean_of_patients(values: np.ndarray, patient: np.ndarray) -> tuple[float, float, int]:
    """The mean over the sites, its standard error and K - 1, with K patients as clusters.

        variance = K / (K - 1) Σ_k (Σ_i (y_ki - mean))² / n²

    Parameters
    ----------
    values : shape (n,)
    patient : shape (n,)
        Whose site it is.

    Raises NotFitted with fewer than two patients.

    Source: the linearised ratio, Cochran 1977, Sampling Techniques, section 6.3 (from memory), as R's `svymean` over
    clusters; with one site a patient the error of the usual t interval.
    """
    values = np.asarray(values, float)
    codes, k = cluster_codes(patient)
    if k < 2:
        raise NotFitted(remark("one_patient" if k else "no_site"))
    mean = float(values.mean())
    of_patient = np.bincount(codes, values - mean, k)
    return mean, float(np.sqrt(k / (k - 1) * (of_patient**2).sum()) / len(values)), k - 1
